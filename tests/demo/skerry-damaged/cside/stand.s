*	stand.s		test stand for the float: start-up and ports
*
*	C puts an underscore before its names.

	include	ports.i

	xref	_main
	xdef	_floatin,_pause,lampson

STEPS	EQU	40		as in float.c
LIFT	EQU	$C10003		motor of the stand
FLOAT	EQU	$C10005		where the float is
LAMPS	EQU	$C10007

	org	$400

start	jsr	_main
stop	bra.s	stop

_floatin
	moveq	#0,d0
	move.b	FLOAT,d0
	rts

*	pause(n)	n milliseconds

_pause	move.w	4(sp),d0
pa1	move.w	#800,d1
pa2	dbra	d1,pa2
	subq.w	#1,d0
	bne.s	pa1
	rts

lampson	move.b	5(sp),LAMPS
	rts

	end
