*
*	LEGEND.S	Skerry 12: legend that is written at the edge of the paper
*
*	For the harbours of the south coast.  Letters as the printer has them.
*

legend	dc.b	'Wasserstand in cm über Null',0
legtemp	dc.b	'Wassertemperatur in °C',0
legpl	dc.b	'Pegelhöhe',0
	even
