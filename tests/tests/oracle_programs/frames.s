*
*	Routines with frames of their own, lists by name, and code that is
*	longer than a short branch.
*
SAVED	REG	d2-d7/a2-a4
ALL	REG	d0-d7/a0-a6
ONE	REG	a5
ARG1	EQU	8
ARG2	EQU	12
LOCAL	EQU	-4
BUFFER	EQU	-24

*	copy(from, to): gives how many bytes

copy	link	a6,#BUFFER
	movem.l	SAVED,-(sp)
	move.l	ARG1(a6),a2
	move.l	ARG2(a6),a3
	clr.l	LOCAL(a6)
	move.l	a2,d2
	beq	cp9
cp1	move.b	(a2)+,(a3)+
	beq	cp9
	addq.l	#1,LOCAL(a6)
	cmp.l	#20,LOCAL(a6)
	blt	cp1
	lea	BUFFER(a6),a4
	pea	(a4)
	move.l	a2,-(sp)
	bsr	copy
	addq.l	#8,sp
	tst.l	d0
	bne	cp9
	movem.l	d0-d1/a0-a1,BUFFER(a6)
	movem.w	BUFFER(a6),d0-d1/a0-a1
	movem.l	BUFFER(a6),ALL
	movem.w	d3,-(sp)
	movem.w	(sp)+,d3
	movem.l	ONE,-(sp)
	movem.l	(sp)+,ONE
	movem.l	ALL,save
	movem.l	save,ALL
	movem.l	save+8,d2/d4/d6
	movem.l	ALL,(a0)
	movem.l	table(pc),d0-d3
	movem.w	4(a0,d1.w),d0/a0
	movem.l	d0/a6,$400.w
cp9	move.l	LOCAL(a6),d0
	movem.l	(sp)+,SAVED
	unlk	a6
	rts

sort	link	a5,#-8
	movem.l	d1-d3/a0,-(sp)
	move.l	8(a5),a0
	move.w	12(a5),d1
	subq.w	#1,d1
	ble	so9
so1	move.w	d1,d2
	moveq	#0,d3
so2	move.w	(a0)+,d0
	cmp.w	(a0),d0
	ble	so3
	move.w	(a0),-2(a0)
	move.w	d0,(a0)
	moveq	#1,d3
so3	subq.w	#1,d2
	bne	so2
	move.l	8(a5),a0
	tst.w	d3
	bne	so1
so9	movem.l	(sp)+,d1-d3/a0
	unlk	a5
	rts

far	beq	copy
	bne	sort
	bsr	copy
	bra	done
	nop
	ds.b	100
done	rts
table	dc.l	copy,sort,far,done
save	ds.l	15
	end
