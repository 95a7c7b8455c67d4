*
*	service.s	Skerry 12 service monitor: header, start-up, console
*
*	The program in the upper half of the ROM.  The rest of it is C, in
*	service.c and loader.c; this file is linked first, at ROMPROG, and
*	the BSS goes to SVCRAM.
*
*	C puts an underscore before its names, has 16-bit ints, pushes the
*	last argument first and wants d2-d7/a2-a6 back.  Results in d0.
*
*	The vectors stay those of the boot ROM: a bus error or the like
*	ends at its prompt, with the registers kept (word state).
*
	include	skerry.i

	org	ROMPROG

	xref	_main,_memtop	service.c
	xdef	_conin,_conout,_constat,_settle,_runprog,_restart

SVCRAM	EQU	RAMBASE+$2000	variables of the C, below LOADAD

svchead	dc.l	'SK12'
	dc.l	svstart-svchead
	dc.l	0		bytes, and
	dc.w	0,0		sum: filled in when the ROM is made

*	From the boot ROM, with the end of good RAM in d0

svstart	lea	STACK,sp
	lea	SVCRAM,a0
sv1	clr.l	(a0)+
	cmp.l	#LOADAD,a0
	blo.s	sv1
	move.l	d0,_memtop
	jsr	_main
*				should main come back, start again
*	restart()	as after a reset

_restart
	move.l	ROMBASE+4,a0
	jmp	(a0)

*	conout(c)	sends a character
*	conin()		waits for one
*	constat()	is there one?

_conout	lea	DUART,a0
co1	btst	#TXRDY,SRA(a0)
	beq.s	co1
	move.b	5(sp),TXA(a0)	low half of an int
	rts

_conin	lea	DUART,a0
ci1	btst	#RXRDY,SRA(a0)
	beq.s	ci1
	moveq	#$7F,d0
	and.b	RXA(a0),d0
	rts

_constat
	lea	DUART,a0
	moveq	#1<<RXRDY,d0
	and.b	SRA(a0),d0
	rts

*	settle()	50 us, as in disk.s

_settle	moveq	#40,d0
se1	dbra	d0,se1
	rts

*	runprog(at)	goes to a loaded program and does not come back.  It
*	finds what a program of the boot ROM finds: a whole stack, and the
*	end of good RAM in d0.

_runprog
	move.l	4(sp),a0
	move.l	_memtop,d0
	lea	STACK,sp
	jmp	(a0)

	end
