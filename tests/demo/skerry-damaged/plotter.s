|
|	plotter.s	Skerry 12: plotter board, first try
|
|	Comes from the other machine, where names of other modules need
|	no declaration.
|
	.text
	.globl	plotter

/*	Sends the tide of one day to the plotter.
plotter:
	lea	daytab,a0
	moveq	#95,d0		| a value each quarter of an hour
again:
	move.w	(a0)+,d1
	jsr	plotval		| in the arithmetic module
	dbra	d0,again
	rts

	.data
daytab:
	.word	plotend-daytab
	.long	plotscal	| scale, from the module with the paper
plotend:
	.even
