*
*	TABLES.S	Skerry 12 tide recorder: disks met so far
*
*	One bpb each, low byte first, for the disk compare program.
*	19 bytes unless it says otherwise.
*

*	bpb, copied from the listing of 12 Jan
short_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00
	EVEN

*	bpb with the spare words, as the manual prints it
long_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00
	EVEN

*	bpb of the test disk, and how often to try it
uneven_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
uneven_tries
	DC.W	RETRIES

*	bpb typed in from a word dump
words_bpb
	DC.W	$0200,$0200,$0102,$0070,$05A0,$F900,$0300,$0900,$0200
	DC.B	$00
	EVEN

*	bpb of a disk from the office machine, 51 bytes
reservd_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$00,$00,$00,$00
	DC.B	$00,$01,$29,$03,$03,$86,$19
	DC.B	'SKERRY BOOT'
	DC.B	'FAT12   '
	EVEN

*	bpb for the disk of the new drive, to come
empty_bpb
	DC.B	$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF,$FF
	DC.B	$FF,$FF,$FF,$FF,$FF,$FF
	EVEN

*	bpb, half-kilobyte sectors
bytes_bpb
	DC.B	$F4,$01,$02,$01,$00,$02,$70,$00,$A0,$05,$F0,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb of the old logger disks, 16 to a track
smallsec_bpb
	DC.B	$00,$01,$04,$01,$00,$02,$78,$00,$00,$0A,$F0,$04,$00
	DC.B	$10,$00,$02,$00,$00,$00
	EVEN

*	bpb, a few more sectors a cluster for long records
cluster_bpb
	DC.B	$00,$02,$03,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb for one year in one file
bigclus_bpb
	DC.B	$00,$02,$80,$01,$00,$02,$D0,$01,$A0,$05,$F9,$01,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb of a disk without a program on it
noboot_bpb
	DC.B	$00,$02,$02,$00,$00,$02,$80,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, room for a longer loader
reserve_bpb
	DC.B	$00,$02,$02,$03,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, tables kept in RAM only
nofats_bpb
	DC.B	$00,$02,$02,$01,$00,$00,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, one table is enough for a log
onefat_bpb
	DC.B	$00,$02,$02,$01,$00,$01,$60,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, names are kept in the first file
noroot_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$00,$00,$A0,$05,$F9,$05,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, a hundred names
rootodd_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$64,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, size is worked out by the driver
nosize_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$00,$00,$F0,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, 25 bytes, size given both ways
twosize_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$40,$0B,$00,$00
	EVEN

*	bpb, 25 bytes, size given both ways to be safe
widesize_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$A0,$05,$00,$00
	EVEN

*	bpb, sectors on a track are found by reading
track0_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F0,$03,$00
	DC.B	$00,$00,$02,$00,$00,$00
	EVEN

*	bpb for the four-megabyte drive
track40_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$F0,$00,$00,$19,$F0,$0A,$00
	DC.B	$28,$00,$02,$00,$00,$00
	EVEN

*	bpb of the disk pack
sides_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F0,$03,$00
	DC.B	$09,$00,$03,$00,$00,$00
	EVEN

*	bpb, last two sectors are for the maker
total_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$9E,$05,$F0,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, eleven sectors, for the long survey
LONGCYLS	EQU	80
LONGSPT	EQU	11
past_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$0C,$07,$F0,$03,$00
	DC.B	$0B,$00,$02,$00,$00,$00
	EVEN

*	bpb, seven sectors, for worn disks
OLDCYLS	EQU	80
OLDSPT	EQU	7
less_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$36,$04,$F0,$02,$00
	DC.B	$07,$00,$02,$00,$00,$00
	EVEN

*	bpb of the sample disk
cyls_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$84,$03,$F0,$02,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, as many names as will go
noroom_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$00,$5A,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, tables as on the one-sided disk
fatlow_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$02,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, tables with room to grow
fathigh_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$05,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb of the archive disk, 51 bytes
fattype_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$F0,$00,$80,$16,$F0,$17,$00
	DC.B	$24,$00,$02,$00,$00,$00,$00,$00,$00,$00,$00,$00
	DC.B	$00,$00,$29,$03,$03,$86,$19
	DC.B	'SKERRY BOOT'
	DC.B	'FAT12   '
	EVEN

*	bpb, 26 sectors, single-sector clusters
limit_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$70,$03,$40,$10,$F0,$0C,$00
	DC.B	$1A,$00,$02,$00,$00,$00
	EVEN

*	bpb, ours
media_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$E9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, nine sectors
othermed_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$FB,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, first track is ours
hidden_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$09,$00
	EVEN

*	bpb, 128 names
leftover_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$80,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, tables for any disk that may come
fat13_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$0D,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb, no tables on a disk with one file
fat0_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$00,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN

*	bpb of the survey disk, the one for the driver, and the words for the file manager
survey720_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00
	EVEN
driver720_bpb
	DC.B	$00,$02,$01,$01,$00,$02,$70,$00,$A0,$05,$F9,$05,$00
	EVEN
filer720_words
	DC.W	512,2,1024,7,3,4,14,715,0

*	bpb of the left drive and of the right drive
twice_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
	EVEN

*	bpb for either drive, chosen by the media byte
shared_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
	DC.B	$00,$02,$01,$01,$00,$02,$E0,$00,$60,$09,$F9,$07,$00,$0F,$00,$02,$00,$00,$00
	EVEN

*	bpb of the first series, 51 bytes
nosig_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$00,$00,$00,$00
	DC.B	$00,$00,$00,$03,$03,$86,$19
	DC.B	'SKERRY BOOT'
	DC.B	'FAT12   '
	EVEN

*	bpb from the new formatter, 51 bytes
typename_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$00,$00,$00,$00
	DC.B	$00,$00,$29,$03,$03,$86,$19
	DC.B	'SKERRY BOOT'
	DC.B	'FAT16   '
	EVEN

*	bpb copied with the hard disk tool, 51 bytes
drive80_bpb
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	DC.B	$09,$00,$02,$00,$00,$00,$00,$00,$00,$00,$00,$00
	DC.B	$80,$00,$29,$03,$03,$86,$19
	DC.B	'SKERRY BOOT'
	DC.B	'FAT12   '
	EVEN

	include	load.s		reads the disk to compare
