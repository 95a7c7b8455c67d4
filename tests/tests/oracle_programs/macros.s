*
*	Macros: arguments, their number, numbers of labels, calls in calls,
*	and a way out.
*
PUSH	MACRO
	move.l	\1,-(sp)
	ENDM
POP	MACRO
	move.l	(sp)+,\1
	ENDM
*	as many as there are
STACK	MACRO
	IFEQ	NARG-1
	PUSH	\1
	ENDC
	IFEQ	NARG-2
	PUSH	\1
	PUSH	\2
	ENDC
	IFGT	NARG-2
	movem.l	\1/\2/\3,-(sp)
	ENDC
	ENDM
*	waits: count, register
WAIT	MACRO
	move.w	#\1,\2
wait\@	dbra	\2,wait\@
	ENDM
*	waits twice: labels of the inner calls are their own
WAIT2	MACRO
	WAIT	\1,\2
	WAIT	\1*2,\2
	ENDM
*	text with its length before it
LTEXT	MACRO
	dc.b	tend\@-tbeg\@
tbeg\@	dc.b	\1
tend\@	EQU	*
	ENDM
*	an address register is cleared another way
WIPE	MACRO
	IFC	'\1','a0'
	sub.l	a0,a0
	MEXIT
	ENDC
	moveq	#0,\1
	ENDM
*	a table of words: eight of them
ROW	MACRO
	dc.w	\1,\2,\3,\4
	dc.w	\5,\6,\7,\8
	ENDM
*	calls itself until it is done
DOWN	MACRO
	IFGT	\1
	dc.w	\1
	DOWN	\1-1
	ENDC
	ENDM

start	STACK	d0
	STACK	d1,a1
	STACK	d2,a2,a3
	WAIT	100,d0
	WAIT2	50,d7
	WIPE	d3
	WIPE	a0
	WIPE	d4
	PUSH	#start
	PUSH	<4(a0,d0.w)>
	POP	d0
	POP	<(a1)+>
	bra	over
	LTEXT	<'one',13,10>
	LTEXT	<'two, and a half'>
	even
over	rts
	ROW	1,2,3,4,5,6,7,8
	ROW	$10,start-over,-1,'A',0,4*4,%11,over-start
	DOWN	5
	IFC	'x','x'
	PUSH	d5
	ENDC
	IFNC	'x','x'
	PUSH	d6
	ENDC
last	dc.w	last-start
	end
