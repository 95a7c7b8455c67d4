*
*	recorder.s	Skerry 12: the second chart recorder
*
*	Goes into the spare half of the ROM.
*
FDC	EQU	$F10001
FDDAT	EQU	6		data
CHART	EQU	$F40001
CHART2	EQU	$F40041	second recorder
LASTPEN	EQU	$080100	where the pen stood

	ORG	$020000

*	penset	moves both pens to D0 and waits for the paper

penset	MOVE.B	D0,CHART
	MOVE.B	D0,CHART2
	MOVE.B	D0,LASTPEN
	ADDQ.W	#1,pencnt	so many moves
	RTS

pencnt	DC.W	0

*	fdquiet	throws away what the floppy controller still holds

fdquiet	LEA	FDC,A0
	CLR.B	FDDAT(A0)
	TST.B	(A0)
	RTS

*	A table of pen speeds, fast to slow

	ORG	$03FFFA
speeds	DC.W	400,200,100
	DC.W	50,25
	END
