*
*	survey.s	Skerry 12 tide recorder: names of the survey's program
*

survname dc.b	'SURVEY  ABS'	as in the directory
survshow dc.b	'SURVEY.ABS',0	as people write it
m_nosurv dc.b	13,10,'no SURVEI.ABS on this disk',0
	even
