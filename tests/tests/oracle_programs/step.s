*
*	Moves the head of a disk drive: phases, times, track 0.
*
CTRL	EQU	$FFFFC100
SENSE	EQU	CTRL+2
TRACKS	EQU	80
PHASES	EQU	4
TRACK0	EQU	3
FAST	EQU	3000
SLOW	EQU	FAST*2

*	restore		back to track 0, at most TRACKS+2 steps

restore	moveq	#TRACKS+1,d7
re1	btst	#TRACK0,SENSE
	bne	re2
	moveq	#-1,d0
	bsr	step
	dbra	d7,re1
	moveq	#-1,d0
	rts
re2	clr.w	track
	moveq	#0,d0
	rts

*	seek		to the track in d0

seek	move.w	d0,-(sp)
	bmi	sk8
	cmp.w	#TRACKS,d0
	bge	sk8
sk1	move.w	(sp),d1
	sub.w	track,d1
	beq	sk7
	smi	d0
	ext.w	d0
	bmi	sk2
	moveq	#1,d0
sk2	bsr	step
	bra	sk1
sk7	addq.l	#2,sp
	moveq	#0,d0
	rts
sk8	addq.l	#2,sp
	moveq	#1,d0
	rts

*	step		one step in the direction of d0

step	movem.l	d0-d2/a0,-(sp)
	add.w	d0,track
	move.w	phase,d1
	add.w	d0,d1
	andi.w	#PHASES-1,d1
	move.w	d1,phase
	lea	coils,a0
	move.b	(a0,d1.w),CTRL
	move.w	track,d1
	cmp.w	last,d1
	move.w	#FAST,d2
	cmp.w	#TRACKS/2,d1
	ble	st1
	move.w	#SLOW,d2
st1	dbra	d2,st1
	move.w	d1,last
	movem.l	(sp)+,d0-d2/a0
	rts

*	where		the routine of a request, by its number

where	lea	requests(pc),a0
	add.w	d0,d0
	move.w	(a0,d0.w),d0
	jmp	(a0,d0.w)

requests dc.w	restore-requests,seek-requests
	dc.w	step-requests,nothing-requests
nothing	rts
coils	dc.b	%1001,%0011,%0110,%1100
settle	dc.w	15,FAST/1000,SLOW/1000
	ds.w	1
track	dc.w	0
phase	dc.w	0
last	dc.w	0
	end
