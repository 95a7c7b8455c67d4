*
*	PORTS.I		test stand for the float: ports, as in ports.h
*
BELL	EQU	$C10009
METER	EQU	$C1000B
VALVE	EQU	$C1000D
