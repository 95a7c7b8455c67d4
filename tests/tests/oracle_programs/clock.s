*
*	Clock in decimal digits: a second more or less, and its text.
*
SECS	EQU	2
MINS	EQU	1
HOURS	EQU	0

*	tick		a second more

tick	movem.l	d0-d1/a0-a1,-(sp)
	lea	time+3,a0
	lea	one+3,a1
	move	#0,ccr
	abcd	-(a1),-(a0)
	cmpi.b	#$60,(a0)
	bcs	tk9
	clr.b	(a0)
	lea	time+2,a0
	lea	one+3,a1
	andi	#%01111,ccr
	abcd	-(a1),-(a0)
	cmpi.b	#$60,time+MINS
	bcs	tk9
	clr.b	time+MINS
	move.b	time+HOURS,d0
	moveq	#1,d1
	andi	#$0F,ccr
	abcd	d1,d0
	cmpi.b	#$24,d0
	bne	tk8
	moveq	#0,d0
	bsr	newday
tk8	move.b	d0,time+HOURS
tk9	movem.l	(sp)+,d0-d1/a0-a1
	rts

newday	addq.l	#1,days
	bvc	nd1
	clr.l	days
nd1	rts

*	back		a second less, for a clock that runs ahead

back	move.b	time+SECS,d0
	moveq	#1,d1
	move	#4,ccr
	sbcd	d1,d0
	bcc	bk1
	move.b	#$59,d0
bk1	move.b	d0,time+SECS
	nbcd	d0
	rts

*	show		hh:mm:ss at a1

show	lea	time,a0
	moveq	#2,d2
sh1	move.b	(a0)+,d0
	move.b	d0,d1
	lsr.b	#4,d0
	bsr	digit
	move.b	d1,d0
	bsr	digit
	move.b	#':',(a1)+
	dbra	d2,sh1
	clr.b	-(a1)
	rts
digit	and.b	#15,d0
	add.b	#'0',d0
	move.b	d0,(a1)+
	rts

*	alarm		N clear at half past seven

alarm	cmpi.w	#$0730,time
	seq	d0
	ext.w	d0
	ext.l	d0
	neg.l	d0
	rts

	ds.w	0
time	ds.b	3
	ds.b	1
one	dc.b	0,0,1,0
days	dc.l	0
	end
