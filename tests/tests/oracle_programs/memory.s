*
*	Memory test in ROM at $1000.  No stack yet: returns go through a6.
*	All references say how long they are.
*
RAM	EQU	$20000
RAMTOP	EQU	$40000
LAMPS	EQU	$FFFF8001
LOWRAM	EQU	$0400
	org	$1000

first	bra.w	memory
	dc.b	'MEMORY',0
	dc.w	version-first
memory	move	#$2700,sr
	lea	RAM,a0
	lea	RAMTOP,a1
	lea	patterns(pc),a2
	move.b	#1,LAMPS
next	move.l	(a2)+,d0
	beq	walk
	move.l	a0,a3
fill	move.l	d0,(a3)+
	cmpa.l	a1,a3
	bcs	fill
	not.l	d0
	move.l	a0,a3
check	move.l	(a3),d1
	not.l	d1
	cmp.l	d0,d1
	bne	wrong
	move.l	d1,(a3)+
	cmpa.l	a1,a3
	bcs	check
	bra	next

*	A bit walks along the addresses

walk	moveq	#4,d2
	move.l	a0,a3
walk1	move.l	a3,d3
	add.l	d2,d3
	move.l	d3,a4
	cmpa.l	a1,a4
	bcc	walk2
	move.l	d2,(a4)
	add.l	d2,d2
	bra	walk1
walk2	moveq	#4,d2
walk3	lea	0(a0,d2.l),a4
	cmpa.l	a1,a4
	bcc	good
	cmp.l	(a4),d2
	bne	wrong
	lsl.l	#1,d2
	bra	walk3
good	moveq	#0,d7
	move.b	#2,LAMPS
	move.l	a1,LOWRAM
	clr.w	LOWRAM+4.w
	jmp	(a6)
wrong	move.l	a3,d7
	move.l	d7,LOWRAM.l
	move.b	#3,LAMPS.w
blink	move.w	#$4000,d6
bl1	dbra	d6,bl1
	bchg	#1,LAMPS
	bra	blink

patterns dc.l	$55555555,$AAAAAAAA,$0F0F0F0F,$12345678
	dc.l	-1,0
version	dc.b	'1.4'
	dcb.b	5,$FF
	ds.w	0
count	dc.w	(count-patterns)/4
	ds.l	2
after	dc.l	after,patterns,first
	dc.w	after-first
	end
