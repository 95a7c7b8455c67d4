*
*	barge.s		The barge: its ROM has no line of its own
*
	ORG	$400
begin	bra.s	begin
	END
