*
*	TRACKS.S	Skerry 12 tide recorder: how much goes on a track?
*
*	Blocks tried in March 86 on the front drive, 250 kbit/s.
*

*	bpb, 10 sectors: has worked so far
ten_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$E0,$00,$40,$06,$F0,$05,$00
	DC.B	$0A,$00,$02,$00,$00,$00
	EVEN

*	bpb, 11 sectors: reads, but see what writing does
eleven_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$E0,$00,$E0,$06,$F0,$06,$00
	DC.B	$0B,$00,$02,$00,$00,$00
	EVEN

*	bpb, 12 sectors: the formatter never ends
twelve_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$E0,$00,$80,$07,$F0,$06,$00
	DC.B	$0C,$00,$02,$00,$00,$00
	EVEN

*	bpb of the store's new drive, 84 cylinders they say
more_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$E8,$05,$F0,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, and two more for good measure
most_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$0C,$06,$F0,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN
