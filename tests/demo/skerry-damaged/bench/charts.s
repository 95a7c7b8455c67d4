*
*	CHARTS.S	Skerry 12 tide recorder: strip chart set-ups
*
*	The blocks are described in reveille.toml, not here.
*

*	pens: pressure and colour; the machine file says 2 of them

pen_table
	DC.B	4,1
	DC.B	9,2		too hard for red
	DC.B	3,1
	EVEN
