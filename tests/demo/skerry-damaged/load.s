*
*	load.s		Skerry 12 tide recorder: find and load the boot file
*
*	12-bit FAT only: no disk of ours has more than 713 clusters.
*	NE and an error number in d0 if something is wrong.
*

filenam	dc.b	'SKERRY  SYS'	name, blanks, type, as in the directory
	even

*	findfil		looks for the boot file in the root directory
*	Out: d3.w = its first cluster

findfil	move.w	DIRSEC,d1
	move.w	DIRCNT,d2
ff1	move.w	d1,d0
	lea	SECBUF,a1
	bsr.w	rdsec
	bne.s	ff9
	lea	SECBUF,a0
ff2	moveq	#15,d4		16 entries in a sector
ff2	tst.b	(a0)
	beq.s	ff8		never used: the directory ends here
	lea	filenam(pc),a1
	move.l	a0,a2
	moveq	#10,d5
ff3	cmp.b	(a1)+,(a2)+
	bne.s	ff4
	dbra	d5,ff3
	LEWORD	DECLUS,d3
	moveq	#0,d0
	rts
ff4	lea	DELEN(a0),a0
	subq.w	#1,d2
	beq.s	ff8
	dbra	d4,ff2
	addq.w	#1,d1
	bra.s	ff1
ff8	moveq	#ENOFILE,d0
ff9	rts

*	loadfil		reads the file that starts at cluster d3 to LOADAD

loadfil	move.w	FATSEC,d1	first the whole FAT
	move.w	FATLEN,d2
	lea	FATBUF,a1
lf1	move.w	d1,d0
	bsr.w	rdsec
	bne.s	lf9
	addq.w	#1,d1
	subq.w	#1,d2
	bne.s	lf1

	lea	LOADAD,a1
lf2	cmp.w	#2,d3		0 and 1 are no clusters
	blo.s	lf8
	moveq	#0,d1
	move.w	d3,d1
	subq.w	#2,d1
	mulu	CLUSIZE,d1
	add.w	DATSEC,d1
	move.w	CLUSIZE,d2
lf3	move.w	d1,d0
	bsr.w	rdsec
	bne.s	lf9
	addq.w	#1,d1
	subq.w	#1,d2
	bne.s	lf3

	cmp.l	MEMTOP,a1	a chain that turns in a circle
	bhs.s	lf8		would run over the end of RAM
	bsr.w	nextcl
	cmp.w	#$FF8,d3
	bhs.s	lf7		end of the file
	cmp.w	#$FF0,d3
	blo.s	lf2
lf8	moveq	#EBADFAT,d0
	rts
lf7	moveq	#0,d0
lf9	rts

*	nextcl		the cluster after d3: one and a half bytes each

nextcl	lea	FATBUF,a0
	move.w	d3,d0
	lsr.w	#1,d0
	bcs.s	nc1
	add.w	d3,d0		even number: low twelve bits
	add.w	d0,a0
	bsr.s	nc3
	and.w	#$0FFF,d3
	rts
nc1	add.w	d3,d0		odd number: high twelve bits
	add.w	d0,a0
	bsr.s	nc3
	lsr.w	#4,d3
	rts

nc3	move.b	1(a0),d3	low byte first here too
	lsl.w	#8,d3
	move.b	(a0),d3
	rts

*	chkhead		a0 = program.  Magic, sane length, right sum?

chkhead	moveq	#EBADHDR,d0
	cmp.l	#'SK12',(a0)
	bne.s	ch9
	move.l	HDBYTES(a0),d1
	beq.s	ch9
	cmp.l	#RAMSIZE,d1
	bhs.s	ch9
	lsr.l	#1,d1		words
	bcs.s	ch9		an odd length is none of ours
	lea	HDLEN(a0),a1
	moveq	#0,d2
ch1	add.w	(a1)+,d2
	subq.l	#1,d1
	bne.s	ch1
	moveq	#EBADSUM,d0
	cmp.w	HDSUM(a0),d2
	bne.s	ch9
	moveq	#0,d0
ch9	tst.l	d0
	rts

	include	tables.s	to compare a disk with
