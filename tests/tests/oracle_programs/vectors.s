*
*	Interrupts and traps of a recorder: one way in, a table of ways on.
*
NUMBER	EQU	8
TIMER	EQU	2
MODEM	EQU	NUMBER-1
VECT0	EQU	$100
IRQ	EQU	$00FF4000

*	install		the vectors, from vector 64 on

install	lea	VECT0,a0
	lea	entry,a1
	moveq	#NUMBER-1,d0
in1	move.l	a1,(a0)+
	dbra	d0,in1
	move.l	#trap0,$80
	move.l	#trap0,$84.w
	move.l	#badtrap,$BC
	move.l	usp,a0
	move.l	a0,oldusp
	lea	stackend,a0
	move	a0,usp
	and	#$F8FF,sr
	rts

*	entry		asks the hardware who it was

entry	movem.l	d0-d7/a0-a6,-(sp)
	moveq	#0,d0
	move.b	IRQ,d0
	cmp.w	#NUMBER,d0
	bcc	stray
	add.w	d0,d0
	move.w	table(pc,d0.w),d0
	jsr	table(pc,d0.w)
leave	movem.l	(sp)+,d0-d7/a0-a6
	rte
table	dc.w	stray1-table,stray1-table
	dc.w	timer-table,stray1-table
	dc.w	paper-table,pen-table
	dc.w	keys-table,modem-table
stray	addq.w	#1,strays
	bra	leave
stray1	addq.w	#1,strays
	rts
timer	subq.w	#1,ticks
	bne	tm1
	move.w	#100,ticks
	bset	#0,flags
	trap	#1
tm1	rts
paper	bset	#1,flags
	rts
pen	bset	#2,flags
	bra	tm1
keys	move.b	IRQ+2,d1
	bpl	tm1
	move.b	d1,key
	tas	newkey
	rts
modem	bset	#MODEM,flags
	beq	tm1
	nop
	rts

*	trap0		services by number in d0

trap0	cmp.w	#3,d0
	bhi	badtrap
	lsl.w	#2,d0
	jmp	tr1(pc,d0.w)
tr1	bra.w	sv0
	bra.w	sv1
	bra.w	sv2
	bra.w	sv3
sv0	move.w	ticks,d1
	rte
sv1	clr.w	ticks
	rte
sv2	move	sr,-(sp)
	move	(sp)+,ccr
	rte
sv3	stop	#$2000
	rte
badtrap	ori	#$700,sr
	reset
	illegal
	trapv
	rtr

strays	dc.w	0
ticks	dc.w	100
flags	dc.b	0
key	dc.b	0
newkey	dc.b	0
	even
oldusp	dc.l	0
	ds.l	32
stackend dc.l	entry,leave,trap0
	dc.l	table+4,stackend-4
	end
