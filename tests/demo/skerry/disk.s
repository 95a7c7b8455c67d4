*
*	DISK.S		Skerry 12 tide recorder: floppy disk driver
*
*	WD1772 at FDC, one 3.5 inch drive, 250 kbit/s MFM.  Polled: the
*	68000 at 8 MHz has 256 clocks for each byte, more than enough.
*	All entries: NE and an error number in D0 if something is wrong.
*

*	Formats that the ROM knows.  FAT parameter blocks as they stand in
*	a boot sector, from its byte 11 on: 19 bytes each, low byte first.
*	The media byte of the boot sector chooses one of them.  The third,
*	720 K, is what we ship; its row is kept on one line, to be read
*	against a dump.

boot_formats
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00	360 K: 80 tracks, one side
	DC.B	$D0,$02,$F8,$02,$00
	DC.B	$09,$00,$01,$00,$00,$00
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00	320 K: the same in 8 sectors
	DC.B	$80,$02,$FA,$01,$00
	DC.B	$08,$00,$01,$00,$00,$00
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00,$09,$00,$02,$00,$00,$00
	DC.B	$00,$02,$02,$01,$00,$02,$70,$00	640 K: 8 sectors, two sides
	DC.B	$00,$05,$FB,$02,$00
	DC.B	$08,$00,$02,$00,$00,$00
boot_formats_end
	EVEN

*	What a status bit means, bit number and error number

errbits	DC.W	STRNF,ENOSECT
	DC.W	STCRC,EBADCRC
	DC.W	STLOST,ELATE
	DC.W	STPROT,EPROT
	DC.W	-1		end of the list

*	dskinit		selects the drive, moves the head to track 0 and
*	takes the disk for one of ours until the boot sector is known

dskinit	MOVE.B	#1,DRVSEL	drive on, side 0
	LEA	FDC,A2
	MOVE.B	#CMDSTOP,(A2)
	BSR.W	settle
	BSR.W	restore
	BNE.S	di9
	LEA	drv_bpb(PC),A0
	MOVEQ	#0,D1
	LEWORD	PBTOT,D1
	MOVE.W	D1,LASTSEC
	MOVE.W	#SPT,TRKSECS
	MOVE.W	#HEADS,SIDES
	MOVEQ	#0,D0
di9	RTS

*	The driver's own block, 13 bytes, for the time before a disk has
*	been looked at: 720 K, media byte F9

drv_bpb	DC.B	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	EVEN

*	setfmt		chooses the format for the boot sector in SECBUF and
*	works out where FAT, directory and data begin

setfmt	MOVEM.L	D1-D4/A0-A1,-(SP)
	MOVE.B	SECBUF+BSBLOCK+PBMEDIA,D1
	LEA	boot_formats(PC),A0
	LEA	boot_formats_end(PC),A1
sf1	CMP.B	PBMEDIA(A0),D1
	BEQ.S	sf2
	LEA	FMTLEN(A0),A0
	CMP.L	A1,A0
	BLO.S	sf1
	MOVEQ	#ENOFMT,D0
	BRA.W	sf9

sf2	LEWORD	PBTRK,D1
	MOVE.W	D1,TRKSECS
	LEWORD	PBSIDES,D1
	MOVE.W	D1,SIDES
	LEWORD	PBTOT,D1
	MOVE.W	D1,LASTSEC
	MOVEQ	#0,D1
	MOVE.B	PBCLU(A0),D1
	MOVE.W	D1,CLUSIZE
	LEWORD	PBFATLN,D2
	MOVE.W	D2,FATLEN
	LEWORD	PBRES,D3
	MOVE.W	D3,FATSEC
	MOVEQ	#0,D4
	MOVE.B	PBFATS(A0),D4
	MULU	D2,D4		all FATs
	ADD.W	D4,D3
	MOVE.W	D3,DIRSEC
	LEWORD	PBROOT,D1
	MOVE.W	D1,DIRCNT
	LSR.W	#4,D1		16 entries in a sector
	ADD.W	D1,D3
	MOVE.W	D3,DATASEC
	MOVEQ	#ENOFMT,D0
	CMP.W	#FATROOM,D2
	BHI.S	sf9		no room for such a FAT
	MOVEQ	#0,D0
sf9	MOVEM.L	(SP)+,D1-D4/A0-A1
	TST.L	D0
	RTS

*	rdsec		reads sector D0, counted from 0 over the whole disk,
*	to A1; A1 moves past it.  wrsec	writes it from there.

wrsec	MOVEM.L	D1-D6/A2-A3,-(SP)
	MOVEQ	#1,D6
	BRA.S	rd0
rdsec	MOVEM.L	D1-D6/A2-A3,-(SP)
	MOVEQ	#0,D6
rd0	LEA	FDC,A2
	MOVE.L	A1,A3
	MOVEQ	#0,D1
	MOVE.W	D0,D1
	CMP.W	LASTSEC,D1
	BHS.S	rd8		past the end of the disk
	DIVU	TRKSECS,D1
	MOVE.L	D1,D2
	SWAP	D2
	ADDQ.W	#1,D2		sectors count from 1
	AND.L	#$FFFF,D1
	DIVU	SIDES,D1	track
	MOVE.L	D1,D3
	SWAP	D3		side
	CMP.W	#CYLS,D1
	BHS.S	rd8
	ADD.B	D3,D3		side is bit 1 of the latch
	ADDQ.B	#1,D3		drive stays selected
	MOVE.B	D3,DRVSEL
	MOVEQ	#RETRIES-1,D4
rd1	MOVE.L	A3,A1
	BSR.W	seek
	BNE.S	rd2
	MOVE.B	D2,FDSEC(A2)
	TST.W	D6
	BNE.S	rd3
	BSR.W	getsec
	BRA.S	rd4
rd3	BSR.W	putsec
rd4	BEQ.S	rd9
	CMP.W	#EPROT,D0
	BEQ.S	rd9		no use trying again
rd2	MOVE.L	D0,D5		keep the reason
	BSR.W	restore		start again from track 0
	DBRA	D4,rd1
	MOVE.L	D5,D0
	BRA.S	rd9
rd8	MOVEQ	#ENOSECT,D0
rd9	MOVEM.L	(SP)+,D1-D6/A2-A3
	TST.L	D0
	RTS

*	getsec		one sector at the head, FDSEC set, to (A1)+

getsec	MOVEM.L	D1-D2,-(SP)
	MOVE.W	#SECSIZE-1,D1
	MOVE.B	#CMDREAD,(A2)
	BSR.W	settle
gs1	MOVE.B	(A2),D0
	BTST	#STDRQ,D0
	BNE.S	gs2
	BTST	#STBUSY,D0
	BNE.S	gs1
	BRA.S	gs3		ended before the last byte
gs2	MOVE.B	FDDAT(A2),(A1)+
	DBRA	D1,gs1
gs3	MOVEQ	#ERRREAD,D0
gs4	BSR.W	fdwait
	MOVEM.L	(SP)+,D1-D2
	TST.L	D0
	RTS

*	putsec		one sector from (A1)+ to the head, FDSEC set

putsec	MOVEM.L	D1-D2,-(SP)
	MOVE.W	#SECSIZE-1,D1
	MOVE.B	#CMDWRIT,(A2)
	BSR.W	settle
ws1	MOVE.B	(A2),D0
	BTST	#STDRQ,D0
	BNE.S	ws2
	BTST	#STBUSY,D0
	BNE.S	ws1
	BRA.S	ws3		ended before the last byte
ws2	MOVE.B	(A1)+,FDDAT(A2)
	DBRA	D1,ws1
ws3	MOVEQ	#ERRWRIT,D0
	BRA.S	gs4

*	seek		head to track D1.B;  restore	head to track 0

seek	CMP.B	FDTRK(A2),D1
	BEQ.S	sk1		there already
	MOVE.B	D1,FDDAT(A2)
	MOVE.B	#CMDSEEK,(A2)
	BRA.S	sk2
sk1	MOVEQ	#0,D0
	RTS

restore	MOVE.B	#CMDREST,(A2)
sk2	BSR.W	settle
	MOVEQ	#ERRSTEP,D0	and on into fdwait

*	fdwait		waits until the controller is done, then looks at the
*	status bits in D0.  2 million goes are some eight seconds: by then
*	there is no disk in the drive.

fdwait	MOVEM.L	D1-D2/A0,-(SP)
	MOVE.L	#2000000,D2
fw1	MOVE.B	(A2),D1
	BTST	#STBUSY,D1
	BEQ.S	fw2
	SUBQ.L	#1,D2
	BNE.S	fw1
	MOVE.B	#CMDSTOP,(A2)
	MOVEQ	#ENOTRDY,D0
	BRA.S	fw9

fw2	AND.B	D0,D1
	LEA	errbits(PC),A0
fw3	MOVEQ	#0,D0
	MOVE.W	(A0)+,D2
	BMI.S	fw9		no bad bit in it
	MOVE.W	(A0)+,D0
	BTST	D2,D1
	BEQ.S	fw3
fw9	MOVEM.L	(SP)+,D1-D2/A0
	TST.L	D0
	RTS

*	settle		status is not good before 32 us after a command

settle	MOVE.W	D0,-(SP)
	MOVEQ	#40,D0
se1	DBRA	D0,se1		10 clocks a go: 50 us
	MOVE.W	(SP)+,D0
	RTS
