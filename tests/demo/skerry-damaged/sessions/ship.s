*
*	ship.s		Survey ship: what its ROM has beside the rest
*
DUART	EQU	$F00001
SRA	EQU	2
CSRA	EQU	2
CRA	EQU	4
ACR	EQU	8

	ORG	$400

begin	lea	DUART,a0	9600 8N1
	move.b	#$10,CRA(a0)
	move.b	#$13,(a0)
	move.b	#$07,(a0)
	move.b	#$BB,CSRA(a0)
	move.b	#$80,ACR(a0)
	move.b	#$05,CRA(a0)
	lea	m_ready(pc),a0
wait	bra.s	wait

*	The disk that it starts from: 720 K

ship_bpb	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
ship_bpb_end

m_ready	DC.B	'SHIP READY',0
	EVEN
	END
