*
*	STAND.S		Skerry 12 tide recorder: test stand, ROM of its own
*

	org	0

	dc.l	$078000,stbegin
	dcb.l	46,ststop

stbegin	lea	$080000,a0
	clr.l	(a0)
ststop	bra.s	ststop

	end
