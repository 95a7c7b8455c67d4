*
*	CPM.S		Skerry 12 tide recorder: disks of the tide offices
*
*	The offices keep their years under CP/M, 8 inch disks most of
*	them.  One dpb each, 15 bytes low byte first unless it says
*	otherwise, for the copy program.  Own ROM, not fitted yet.
*

*	The 8 inch disks, one side

FMCYLS	EQU	77
FMSPT	EQU	26
FMSECSIZ	EQU	128

	org	$24000

*	cpmstart	records and blocks of the first office's disk

cpmstart
	LEA	first_dpb,A0
	MOVE.B	(A0),D0		records, low byte
	MOVE.W	5(A0),D1	highest block
	RTS

*	dpb of the first office, as the CP/M manual prints it
first_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb, half-kilobyte blocks
shift_dpb
	DC.B	26,0,2,7,0,242,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb of the north office
mask_dpb
	DC.B	26,0,3,15,0,242,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb for both sides
blocks_dpb
	DC.B	52,0,3,7,0,$2C,$01,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb, longer files
extent_dpb
	DC.B	26,0,3,7,1,242,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb of the small machine, 5 sectors of 1 K
small_dpb
	DC.B	40,0,4,15,0,194,0,127,0,$C0,0,32,0,2,0
	EVEN

*	dpb typed in by telephone
gap_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$A0,0,16,0,2,0
	EVEN

*	dpb, one block more for data
lowdir_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$80,0,16,0,2,0
	EVEN

*	dpb, a block for our own label
highdir_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$E0,0,16,0,2,0
	EVEN

*	dpb of the 68000 machine, 16 bytes, high byte first
nodir_dpb
	DC.B	0,26,3,7,0,0,0,242,0,63,0,0,0,16,0,2

*	dpb with the directory as they count it
entries_dpb
	DC.B	26,0,3,7,0,242,0,64,0,$C0,0,16,0,2,0
	EVEN

*	dpb of the small machine, few files
fewfiles_dpb
	DC.B	40,0,4,15,1,194,0,31,0,$80,0,8,0,2,0
	EVEN

*	dpb, every entry checked
check_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$C0,0,63,0,2,0
	EVEN

*	dpb, faster: nothing checked
nocheck_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$C0,0,0,0,2,0
	EVEN

*	dpb of the hard disk in the main office, 16 bytes, high byte first
main_dpb
	DC.W	32,$051F,$0100,3288,1023,$FF00,256,4

*	dpb, 243 blocks
count_dpb
	DC.B	26,0,3,7,0,243,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb, the last inch is worn
worn_dpb
	DC.B	26,0,3,7,0,200,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb, see note of 4 Feb
lasttrk_dpb
	DC.B	26,0,3,7,0,242,0,63,0,$C0,0,16,0,77,0
	EVEN

*	dpb of the data disks, no system on them
nosys_dpb
	DC.B	120,0,5,31,1,$2B,$01,255,0,$C0,0,64,0,0,0
	EVEN

*	dpb of the test disk
tiny_dpb
	DC.B	40,0,3,7,0,1,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb, records to be filled in from the label
norecs_dpb
	DC.B	0,0,3,7,0,242,0,63,0,$C0,0,16,0,2,0
	EVEN

*	dpb of the big disk, CP/M 2.2
big_dpb
	DC.B	32,0,5,31,1,$D8,$0C,$FF,$03,$FF,0,0,1,4,0
	EVEN

*	dpb of the new machine, CP/M 3, 17 bytes
physical_dpb
	DC.B	36,0,4,15,0,$64,$01,255,0,$F0,0,64,0,1,0,2,7
	EVEN

*	Skew of the 8 inch disks, by 6

skewtab	DC.B	1,7,13,19,25,5,11,17,23,3,9,15,21
	DC.B	2,8,14,20,26,6,12,18,24,4,10,16,23

*	Ours and theirs   @block drive-bytes-4

theirs	DC.B	77,1,26,0
	DC.B	40,3,9,2

*	dpb of the second 68000 machine, behind its name

office	DC.B	'QUAY 2 '
quay_dpb
	DC.B	0,26,3,7,0,0,0,242,0,63,$C0,0,0,16,0,2
	EVEN
