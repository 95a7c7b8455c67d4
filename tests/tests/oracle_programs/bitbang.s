*
*	Port of eight lines on the odd bytes: MOVEP, and a clock line by hand.
*
PIA	EQU	$FF8001
OUTA	EQU	6
DIRA	EQU	2
CLOCK	EQU	0
DATA	EQU	1
LOAD	EQU	7

setup	lea	PIA,a0
	move.l	#$FF00FF04,d0
	movep.l	d0,OUTA(a0)
	move.w	#$0304,d0
	movep.w	d0,8(a0)
	movep.l	OUTA(a0),d1
	movep.w	8(a0),d2
	cmp.l	d0,d1
	sne	d0
	rts

*	send		the low d1 bits of d0, the highest first

send	movem.l	d0-d2/a0,-(a7)
	lea	PIA,a0
	moveq	#32,d2
	sub.w	d1,d2
	lsl.l	d2,d0
	subq.w	#1,d1
se1	bclr	#DATA,(a0)
	lsl.l	#1,d0
	bcc	se2
	bset	#DATA,(a0)
se2	bset	#CLOCK,(a0)
	nop
	nop
	bclr	#CLOCK,(a0)
	dbra	d1,se1
	bset	#LOAD,OUTA(a0)
	bclr	#LOAD,OUTA(a0)
	movem.l	(a7)+,d0-d2/a0
	rts

*	fetch		eight bits into d0

fetch	moveq	#7,d1
	lea	PIA+16,a1
fe1	bset	d1,(a1)
	btst	#DATA,2(a1)
	bne	fe2
	andi	#$EF,ccr
	bra	fe3
fe2	ori	#$10,ccr
fe3	roxl.b	#1,d0
	bclr	d1,(a1)
	dbra	d1,fe1
	rts

*	level		parity of d0 in bit 31 of d3

level	moveq	#0,d3
	moveq	#31,d2
le1	btst	d2,d0
	beq	le2
	bchg	#31,d3
le2	dbra	d2,le1
	tst.l	d3
	rts

wait	move.w	#1000,d7
wa1	tst.b	PIA
	dbmi	d7,wa1
	rts

burst	moveq	#15,d4
bu1	move.w	pulses(pc,d4.w),d0
	exg	d0,d5
	exg	a0,a1
	exg	d4,a2
	bsr	send
	exg	d4,a2
	subq.w	#2,d4
	bpl	bu1
	rts
pulses	dc.w	$8001,$4002,$2004,$1008
	dc.w	$0810,$0420,$0240,$0180
	end
