*
*	One source for three series of a machine: conditionals, variables,
*	offsets, and sections that follow each other.
*
	include	variants.i

SERIES	SET	2
COUNT	SET	0

	section	code
start	move.w	#SERIES,d0
	IFEQ	SERIES-1
	lea	$FF0000,a0
	ENDC
	IFEQ	SERIES-2
	lea	PORT2,a0
	IFGT	SERIES-1
	move.b	#1,OUTPUT(a0)
	ELSEC
	move.b	#2,OUTPUT(a0)
	ENDC
	ELSEC
	illegal
	ENDC
	IFNE	SERIES-2
	stop	#$2700
	ENDC
	move.w	COUNT1(a1),d1
	bne	start
	bsr	more
	lea	names,a2
	move.l	#names,d2
	move.w	#COUNT,d3
COUNT	SET	COUNT+1
	move.w	#COUNT,d3
COUNT	SET	COUNT*4
	move.w	#COUNT,d3
	move.b	NEXT(a1),d4
	move.w	#RECORD,d5
	rts

	section	tables
names	dc.b	'drum',0,'pen',0
	even
sizes	dc.w	RECORD,COUNT1,NAME
	dc.l	start,more

	section	code
more	tst.l	LENGTH(a1)
	bmi	more
	move.l	names,d0
	jsr	start
	jmp	more

	section	tables
tail	dc.l	tail,names
	dc.w	tail-names,more-start

	section	code
	IFGE	SERIES-2
	nop
	ENDC
	IFLT	SERIES-2
	reset
	ENDC
	IFLE	SERIES-2
	rte
	ENDC
done	rtr
	end
