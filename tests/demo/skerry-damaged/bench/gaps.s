*
*	GAPS.S	Skerry 12 tide recorder: constants of the formatter
*

*	The formatter of this year

CYLS	EQU	80
HEADS	EQU	2
SPT	EQU	9
SECSIZE	EQU	512
SIZECODE EQU	3		sector size for the controller
GAP3	EQU	8		leave more room for data
INTERLEAVE EQU	3
STEPRATE EQU	2		as fast as it goes

*	The formatter of last year

OLDCYLS	EQU	80
OLDHEADS EQU	2
OLDSPT	EQU	9
OLDSECSIZE EQU	512
OLDGAP3	EQU	120		better safe
