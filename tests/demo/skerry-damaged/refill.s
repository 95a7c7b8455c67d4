*
*	REFILL.S	Skerry 12 tide recorder: ink refill helper, ROM of its own
*

RFSTACK	EQU	$0FFF00		top of RAM
RFLAMPS	EQU	$F30003		panel lamps

	org	0

	dc.l	rfstart,RFSTACK	where to begin, and the stack
	dcb.l	46,rfstop	all else

rfstart	move.b	#3,RFLAMPS
rfstop	bra.s	rfstop

	end
