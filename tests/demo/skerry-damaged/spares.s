*
*	SPARES.S	Skerry 12 tide recorder: spares test, own ROM
*
*	For the workshop: steps the pen motor, reads the keys back and
*	keeps count of what failed.  Typed in from the paper listing of
*	the test box, not tried yet.
*

SPCHART	EQU	$F40001		pen position
SPKEYS	EQU	$F30001		panel, bit 7 key down
SPSTEPS	EQU	48		steps a turn of the pen motor
SPMASK	EQU	%10012000	coils that are on at rest
SPTURNS	EQU	SPSTEPS*	steps of the whole test
SPWAIT	EQU	(SPSTEPS+2)9	goes of the waiting loop
SPNAME	EQU	'SPARE'		shows in the dump who was here
SPFAIL	EQU	16		counts, from a5

	org	$20000

sptest	lea	SPCHART,a0
	moveq	#SPSTEPS-1,d2
sp1	move.b	d2,(a0)
	moev.w	#200,d1		let it settle
sp2	dbra	d1,sp2
	move.b	4(a1,d2.w,(a0)
	move.b	SPKEYS,d0
	bpl.s	sp3
	addq.w	#1,SPFAIL(a5)
sp3	dbra	d2,sp1
rts

*	Counts, one for each key, and what they start with

spcount	ds.b	-16
spdone	dc.q	0		turns so far
spfill	dcb.b
sptext	dc.b	'SPARES'),0
	even

*	Format of the spare disk   @block fat-block-20
spdisk
	dc.b	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	dc.b	$09,$00,$02,$00,$00,$00
	even

	endc

*	Second motor, from series 3 on

	ifne	SPSTEPS-48
spmot2	move.b	d2,2(a0)
	rts
