*
*	Sixteen-bit check of blocks, bit by bit and with a table that is
*	made at the start.  Polynomial x16+x12+x5+1: common practice.
*
POLY	EQU	$1021
START	EQU	-1
BLOCK	EQU	512

*	maketab		the table of 256 words

maketab	lea	table,a0
	moveq	#0,d0
mt1	move.w	d0,d1
	lsl.w	#8,d1
	moveq	#7,d2
mt2	add.w	d1,d1
	bcc	mt3
	eori.w	#POLY,d1
mt3	dbf	d2,mt2
	move.w	d1,(a0)+
	addq.w	#1,d0
	cmpi.w	#256,d0
	bne	mt1
	rts

*	crcslow		d1 bytes at a0, the check in d0

crcslow	moveq	#START,d0
	subq.w	#1,d1
	bmi	cs9
cs1	move.b	(a0)+,d2
	lsl.w	#8,d2
	eor.w	d2,d0
	moveq	#7,d3
cs2	lsl.w	#1,d0
	bcc	cs3
	eor.w	#POLY,d0
cs3	dbf	d3,cs2
	dbf	d1,cs1
cs9	andi.l	#$FFFF,d0
	rts

*	crcfast		the same with the table

crcfast	movem.l	d2-d3/a1,-(a7)
	lea	table,a1
	move.w	#START,d0
	bra	cf2
cf1	move.w	d0,d2
	lsr.w	#8,d2
	move.b	(a0)+,d3
	eor.b	d3,d2
	andi.w	#$FF,d2
	add.w	d2,d2
	lsl.w	#8,d0
	move.w	(a1,d2.w),d3
	eor.w	d3,d0
cf2	dbf	d1,cf1
	movem.l	(a7)+,d2-d3/a1
	rts

*	checkit		compares both over one block

checkit	bsr	maketab
	lea	block,a0
	move.w	#BLOCK,d1
	bsr	crcslow
	move.w	d0,-(a7)
	lea	block,a0
	move.w	#BLOCK,d1
	bsr	crcfast
	cmp.w	(a7)+,d0
	beq	ci1
	ori	#1,ccr
	rts
ci1	andi	#$FE,ccr
	rts

rotate	rol.w	#8,d0
	ror.w	d1,d0
	roxl.l	#1,d0
	roxr.b	d2,d0
	asl.w	d3,d0
	asr.l	#8,d0
	asl.w	(a0)
	asr.w	-(a0)
	lsl.w	(a0)+
	lsr.w	2(a0)
	roxl.w	table
	ror.w	table+2
	rts

table	ds.w	256
block	dc.b	'123456789'
	dcb.b	BLOCK-9,$E5
	end
