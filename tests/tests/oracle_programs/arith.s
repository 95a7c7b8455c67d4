*
*	Arithmetic that the processor does not have: 32 by 32 bits, roots.
*	And every way to say a small constant.
*
SMALL	EQU	5

*	mul32		d0 times d1, the low half in d0

mul32	move.l	d2,-(sp)
	move.l	d0,d2
	mulu	d1,d0
	swap	d2
	mulu	d1,d2
	swap	d1
	swap	d2
	clr.w	d2
	add.l	d2,d0
	move.l	(sp)+,d2
	rts

*	div32		d0 by d1, the rest in d2

div32	tst.l	d1
	beq	dv9
	moveq	#0,d2
	moveq	#31,d3
dv1	add.l	d0,d0
	addx.l	d2,d2
	cmp.l	d1,d2
	bcs	dv2
	sub.l	d1,d2
	addq.l	#1,d0
dv2	dbra	d3,dv1
	rts
dv9	divu	#0,d0
	rts

*	sdiv		with signs

sdiv	move.l	d0,d4
	eor.l	d1,d4
	tst.l	d0
	bpl	sd1
	neg.l	d0
sd1	tst.l	d1
	bge	sd2
	neg.l	d1
sd2	bsr	div32
	tst.l	d4
	bpl	sd3
	neg.l	d0
sd3	rts

*	wide		64 bits more, less, negative

wide	add.l	d1,d3
	addx.l	d0,d2
	sub.l	d5,d3
	subx.l	d4,d2
	neg.l	d3
	negx.l	d2
	addx.b	-(a0),-(a1)
	subx.w	-(a2),-(a3)
	rts

*	root		of d0, by odd numbers

root	moveq	#1,d1
ro1	sub.l	d1,d0
	bcs	ro2
	addq.l	#2,d1
	bra	ro1
ro2	lsr.l	#1,d1
	move.l	d1,d0
	rts

consts	move.l	#1,d0
	move.l	#-128,d1
	move.l	#127,d2
	move.l	#128,d3
	move.l	#$FFFFFFFF,d4
	move.l	#SMALL,d5
	move.w	#1,d6
	move.l	#1,a0
	add.l	#8,d0
	add.w	#1,a0
	add.b	#9,d0
	sub.w	#8,(a0)
	sub.l	#SMALL,d0
	sub.l	#0,d0
	add.w	#-1,d0
	addi.l	#1,d1
	subi.w	#1,d1
	addq.l	#SMALL,d1
	subq.w	#SMALL+1,a1
	cmp.l	#1,d0
	cmp.w	#$1234,(a0)+
	cmpa.w	#5,a0
	and.w	#$00FF,d0
	or.l	#1,(a0)
	eor.b	#1,d0
	adda.l	#$12345,a2
	suba.w	d0,a2
	muls	#-3,d0
	muls	(a0)+,d1
	divs	#10,d0
	divu	4(a0),d1
	chk	#100,d0
	chk	(a1),d2
	ext.l	d0
	move.b	#'A',d0
	move.w	#'AB',d0
	move.l	#'ABCD',d0
	pea	4
	pea	$12345
	pea	(a0)
	lea	$7FFF,a0
	lea	$8000,a0
	lea	-4,a0
	rts
	end
