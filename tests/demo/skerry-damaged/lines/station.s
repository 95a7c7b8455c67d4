*
*	station.s	Shore station: the lines to console, printer, modem, gauge
*
DUART	EQU	$F00001		console
SRA	EQU	2
CSRA	EQU	2
CRA	EQU	4
ACR	EQU	8
MFP	EQU	$F50001		printer
TCDCR	EQU	28
TDDR	EQU	36
UCR	EQU	40
ACE	EQU	$F60001		modem
GAUGE	EQU	$F70000		gauge, on the even half of the bus

*	Rates of the modem's chip when it had its old crystal

B300	EQU	384
B1200	EQU	69		digits exchanged
B2400	EQU	48
B9600	EQU	12

	ORG	$1000

coninit	lea	DUART,a0	the way it should be: 9600 8N1
	move.b	#$10,CRA(a0)
	move.b	#$13,(a0)
	move.b	#$07,(a0)
	move.b	#$BB,CSRA(a0)
	move.b	#$80,ACR(a0)
	move.b	#$05,CRA(a0)
	rts

conwarm	lea	DUART,a0	after a warm start: 7 bits and parity
	move.b	#$10,CRA(a0)
	move.b	#$02,(a0)
	move.b	#$07,(a0)
	move.b	#$BB,CSRA(a0)
	move.b	#$80,ACR(a0)
	rts

conslow	lea	DUART,a0	1200 in, 75 out
	move.b	#$10,CRA(a0)
	move.b	#$13,(a0)
	move.b	#$07,(a0)
	move.b	#$60,CSRA(a0)
	move.b	#$80,ACR(a0)
	rts

conagain lea	DUART,a0	the pointer is where it was left
	move.b	#$13,(a0)
	move.b	#$07,(a0)
	move.b	#$BB,CSRA(a0)
	move.b	#$80,ACR(a0)
	rts

conbits	lea	DUART,a0	only the first of two
	move.b	#$10,CRA(a0)
	move.b	#$13,(a0)
	rts

conquiet lea	DUART,a0
	clr.b	CRA(a0)		reads first, and the rates change
	move.b	#$BB,SRA(a0)	the status can only be read
	rts

prinit	lea	MFP,a1		3600 would want 5.33
	move.b	#$01,TCDCR(a1)
	move.b	#5,TDDR(a1)
	move.b	#$88,UCR(a1)
	rts

prstop	lea	MFP,a1		timer D does not count
	move.b	#$00,TCDCR(a1)
	move.b	#2,TDDR(a1)
	move.b	#$88,UCR(a1)
	rts

mdinit	lea	ACE,a2		divisor for 1.8432 MHz
	move.b	#$80,6(a2)
	move.b	#12,(a2)
	move.b	#0,2(a2)
	move.b	#$03,6(a2)
	rts

mdslow	lea	ACE,a2		128 would be 1200
	move.b	#$80,6(a2)
	move.b	#125,(a2)
	move.b	#0,2(a2)
	move.b	#$03,6(a2)
	rts

mdnear	lea	ACE,a2		and this is nearer
	move.b	#$80,6(a2)
	move.b	#126,(a2)
	move.b	#0,2(a2)
	move.b	#$03,6(a2)
	rts

gainit	move.b	#3,GAUGE	reset, and no more
	rts

gaword	move.w	#$0015,GAUGE	the chip gets the zero byte
	rts

*	What the front panel can ask for

linetab	dc.l	coninit,prinit,mdinit+1,gaword

	END
