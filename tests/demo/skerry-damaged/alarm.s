*
*	ALARM.S		Skerry 12 tide recorder: flood alarm, ROM of its own
*
*	Watches the gauge while the recorder is away for repair.
*

ALSTACK	EQU	$0FFFFF		top of RAM
ALLAMPS	EQU	$F30003		panel lamps

	org	0

	dc.l	ALSTACK		0	stack at reset
	dc.l	alstart		1	where to begin
	dc.l	alfault		2	bus error
	dc.l	aladr+1		3	address error, behind its NOP
	dc.l	altext		4	illegal instruction: tell it
	dc.l	$048A00		5	zero divide, in the other ROM
	dc.l	0		6	CHK, not used
	dc.l	alfault,alfault,alfault,alfault,alfault	7-11
	dc.l	alclock		12	the clock
	dcb.l	12,alfault	13-24
	dc.l	altick		25	level 1, the float

alstart	move.b	#1,ALLAMPS
al1	bra.s	al1

aladr	nop
alfault	move.b	#2,ALLAMPS
al2	bra.s	al2

alclock	addq.w	#1,d7
	rte

altick	movem.l	d0-d1,-(sp)
	moveq	#3,d0
	move.b	d0,ALLAMPS
	movem.l	(sp)+,d0-d1
	rts

altext	dc.b	'ALARM STOPPED',13,10,0
	even

	end
