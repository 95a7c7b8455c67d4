*	what all series have
PORT2	EQU	$FFF100
	offset	0
NAME	ds.l	1
LENGTH	ds.l	1
COUNT1	ds.w	1
OUTPUT	ds.b	1
NEXT	ds.b	5
	ds.w	0
RECORD	ds.b	0
