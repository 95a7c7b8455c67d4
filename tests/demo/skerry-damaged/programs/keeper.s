*
*	keeper.s	Skerry 12, bench board: the loop that keeps the last command
*
LASTCMD	EQU	$1010	the command that came last

	ORG	$F80000

	DC.L	$0007F000	stack at reset
	DC.L	begin

begin	MOVE.B	D0,LASTCMD
	BRA.S	begin
	END
