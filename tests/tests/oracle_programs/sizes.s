*
*	Macros whose call has a size.  The assembler that judges does not
*	take a size there: it gets sizes.by_hand.
*
LOAD	MACRO
	move.\0	\1,\2
	ENDM
CLEAR	MACRO
	clr.\0	\1
	tst.\0	\1
	ENDM
BOTH	MACRO
	LOAD.\0	\1,\2
	add.\0	\2,\3
	ENDM
LEAVE	MACRO
	b\1.\0	exit
	ENDM
WORDS	MACRO
	dc.\0	\1,\2
	ENDM

start	LOAD.B	(a0)+,d0
	LOAD.W	d0,d1
	LOAD.L	#$12345,d2
	CLEAR.B	(a0)
	CLEAR.W	d3
	CLEAR.L	4(a1)
	BOTH.W	(a0),d1,d2
	BOTH.L	d1,d2,d3
	LEAVE.S	eq
	LEAVE.W	ne
	WORDS.W	1,2
	WORDS.L	start,exit
exit	rts
	WORDS.B	3,4
	end
