*
*	GAUGE.S		Skerry 12 tide recorder: disks of the river gauges
*
*	5.25 inch, 16 sectors of 256 bytes, under CP/M.  For the copy
*	program, own ROM, not fitted yet.
*

CYLS	EQU	40
SPT	EQU	16
SECSIZE	EQU	256

*	dpb of the gauges, low byte first
gauge_dpb
	DC.B	16,0,3,7,0,73,0,63,0,$C0,0,16,0,3,0
	EVEN
