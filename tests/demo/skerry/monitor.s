*
*	monitor.s	Skerry 12 tide recorder: the prompt
*
*	A line is a word and hex numbers, with blanks between them:
*
*	disk			boot from the disk
*	rom			run the program in ROM
*	list from count		show memory
*	byte at value		put a byte into RAM
*	flood from count value	fill RAM
*	take sector to		read a sector of the disk into RAM
*	put sector from		write a sector of the disk from RAM
*	fetch			load the boot file, do not run it
*	enter at		run what is there; it may return
*	state			registers at the last exception
*
*	A wrong line is not worth a FAULT: the lamps stay as they are.
*

*	Words, seven letters at most, filled up with blanks

CMNUMS	EQU	8		how many numbers follow
CMCODE	EQU	10		where to go, from cmdtab
CMLEN	EQU	12		length of an entry
MAXNUMS	EQU	3

cmdtab	dc.b	'disk    '
	dc.w	0,bootdsk-cmdtab
	dc.b	'rom     '
	dc.w	0,bootrom-cmdtab
	dc.b	'list    '
	dc.w	2,c_list-cmdtab
	dc.b	'byte    '
	dc.w	2,c_byte-cmdtab
	dc.b	'flood   '
	dc.w	3,c_flood-cmdtab
	dc.b	'take    '
	dc.w	2,c_take-cmdtab
	dc.b	'put     '
	dc.w	2,c_put-cmdtab
	dc.b	'fetch   '
	dc.w	0,c_fetch-cmdtab
	dc.b	'enter   '
	dc.w	1,c_enter-cmdtab
	dc.b	'state   '
	dc.w	0,c_state-cmdtab
cmdend

*	console		the prompt.  disk and rom do not come back, all
*	others return with an error number in d0, or 0.

console	lea	STACK,sp	wherever we come from
	lea	m_prompt(pc),a0
	bsr.w	puts
	bsr.w	getline
	bsr.s	docmd
	tst.l	d0
	beq.s	console
	bsr.w	tell
	bra.s	console

*	docmd		does what the line in LINEBUF says

docmd	lea	LINEBUF,a2
dc1	move.b	(a2)+,d0
	beq.s	dc8		an empty line
	cmp.b	#' ',d0
	beq.s	dc1
	subq.l	#1,a2
	lea	cmdtab(pc),a1
dc2	move.l	a2,a3
	move.l	a1,a0
dc3	move.b	(a3)+,d0
	or.b	#$20,d0		capital letters will do
	cmp.b	(a0)+,d0
	bne.s	dc4
	cmp.b	#' ',d0
	bne.s	dc3
	move.l	a3,a2
	bsr.s	getnums
	bne.s	dc9
	move.w	CMCODE(a1),d0
	lea	cmdtab(pc),a0
	jmp	0(a0,d0.w)
dc4	lea	CMLEN(a1),a1
	lea	cmdend(pc),a0
	cmp.l	a0,a1
	blo.s	dc2
	moveq	#ENOWORD,d0
	rts
dc8	moveq	#0,d0
dc9	rts

*	getnums		reads the rest of the line at a2 into ARGS: as many
*	numbers as entry a1 of cmdtab wants.  NE and an error number in d0
*	if they are not there.

getnums	lea	ARGS,a0
	moveq	#0,d2		how many
gn1	move.b	(a2)+,d0
	beq.s	gn3
	cmp.b	#' ',d0
	beq.s	gn1
	cmp.w	#MAXNUMS,d2
	bhs.s	gn4
	subq.l	#1,a2
	bsr.s	gethex
	bne.s	gn5
	move.l	d1,(a0)+
	addq.w	#1,d2
	bra.s	gn1
gn3	cmp.w	CMNUMS(a1),d2
	bne.s	gn4
	moveq	#0,d0
	rts
gn4	moveq	#EARGS,d0
gn5	rts

*	gethex		d1.l = the number at a2, which moves to its blank

gethex	moveq	#0,d1
	moveq	#8,d3		digits that fit
gh1	move.b	(a2),d0
	beq.s	gh9
	cmp.b	#' ',d0
	beq.s	gh9
	addq.l	#1,a2
	sub.b	#'0',d0
	cmp.b	#10,d0
	blo.s	gh2
	and.b	#$DF,d0		capital letters from here
	sub.b	#'A'-'0'-10,d0
	cmp.b	#10,d0
	blo.s	gh8
	cmp.b	#16,d0
	bhs.s	gh8
gh2	subq.w	#1,d3
	bmi.s	gh8
	lsl.l	#4,d1
	or.b	d0,d1
	bra.s	gh1
gh8	moveq	#ENUMBER,d0
	rts
gh9	moveq	#0,d0
	rts

*	getline		takes a line into LINEBUF and puts a blank and a zero
*	byte behind it.  What is not echoed is not taken.

getline	lea	LINEBUF,a1
	moveq	#0,d1		characters in it
gl1	bsr.w	getc
	cmp.b	#CR,d0
	beq.s	gl9
	cmp.b	#CAN,d0
	beq.s	gl8
	cmp.b	#BS,d0
	beq.s	gl2
	cmp.b	#DEL,d0
	beq.s	gl2
	cmp.b	#' ',d0
	blo.s	gl1
	cmp.w	#LINELEN,d1
	bhs.s	gl1
	bsr.w	putc
	move.b	d0,0(a1,d1.w)
	addq.w	#1,d1
	bra.s	gl1
gl2	tst.w	d1
	beq.s	gl1
	subq.w	#1,d1
	lea	m_rub(pc),a0
	bsr.w	puts
	bra.s	gl1
gl8	moveq	#0,d1
gl9	move.b	#' ',0(a1,d1.w)
	clr.b	1(a1,d1.w)
	rts

*	list from count.  The cancel key stops it at the end of a line;
*	other keys are lost meanwhile.

c_list	move.l	ARGS,a1
	move.l	ARGS+4,d2
	beq.s	cl9
cl1	lea	m_crlf(pc),a0
	bsr.w	puts
	move.l	a1,d0
	bsr.w	puthex8
	moveq	#':',d0
	bsr.w	putc
	moveq	#15,d1		16 bytes on a line
cl2	moveq	#' ',d0
	bsr.w	putc
	move.b	(a1)+,d0
	bsr.w	puthex2
	subq.l	#1,d2
	beq.s	cl9
	dbra	d1,cl2
	lea	DUART,a0
	btst	#RXRDY,SRA(a0)
	beq.s	cl1
	bsr.w	getc
	cmp.b	#CAN,d0
	bne.s	cl1
cl9	moveq	#0,d0
	rts

*	byte at value

c_byte	move.l	ARGS,a1
	moveq	#1,d2
	move.l	ARGS+4,d1
	bra.s	cf1

*	flood from count value

c_flood	move.l	ARGS,a1
	move.l	ARGS+4,d2
	move.l	ARGS+8,d1
cf1	moveq	#ENUMBER,d0
	cmp.l	#$FF,d1
	bhi.s	cf9
	bsr.s	inram
	bne.s	cf9
	tst.l	d2
	beq.s	cf9
cf2	move.b	d1,(a1)+
	subq.l	#1,d2
	bne.s	cf2
cf9	rts

*	inram		are the d2 bytes at a1 in RAM?  NE and an error number
*	in d0 if they are not

inram	moveq	#EOUTRAM,d0
	cmp.l	#RAMSIZE,d2
	bhi.s	ir9
	cmp.l	#RAMBASE,a1
	blo.s	ir9
	move.l	#RAMEND,d3
	sub.l	d2,d3
	cmp.l	d3,a1
	bhi.s	ir9
	moveq	#0,d0
ir9	tst.l	d0
	rts

*	take sector to

c_take	bsr.s	onesec
	bne.s	ct9
	bsr.w	rdsec
ct9	rts

*	put sector from

c_put	bsr.s	onesec
	bne.s	ct9
	bsr.w	wrsec
	rts

*	onesec		makes ready for a sector: d0 = its number, a1 = where
*	its bytes are.  The disk may be another one than last time, so its
*	format is looked for; what we do not know is taken for 720 K.

onesec	move.l	#SECSIZE,d2
	move.l	ARGS+4,a1
	bsr.s	inram
	bne.s	os9
	moveq	#ENOSECT,d0
	move.l	ARGS,d1
	cmp.l	#$FFFF,d1
	bhi.s	os8
	bsr.w	dskinit
	bne.s	os9
	moveq	#0,d0
	lea	SECBUF,a1
	bsr.w	rdsec
	bne.s	os1
	bsr.w	setfmt
os1	move.l	ARGS,d0
	move.l	ARGS+4,a1
	moveq	#0,d1		EQ
	rts
os8	tst.l	d0
os9	rts

*	fetch

c_fetch	bsr.w	bootfil
	bne.s	ce9
	lea	m_fetch(pc),a0
	bsr.w	puts
	move.l	#LOADAD,d0
	bsr.w	puthex8
	lea	m_to(pc),a0
	bsr.w	puts
	move.l	a1,d0
	subq.l	#1,d0
	bsr.w	puthex8
	moveq	#0,d0
	rts

*	enter at

c_enter	move.l	ARGS,d1
	moveq	#EODD,d0
	btst	#0,d1
	bne.s	ce9
	move.l	d1,a1
	move.l	MEMTOP,d0	as a program of the disk finds it
	jsr	(a1)
	moveq	#0,d0
ce9	rts

*	state		four registers on a line

c_state	lea	REGS,a1
	moveq	#0,d1
st3	moveq	#3,d0
	and.b	d1,d0
	bne.s	st4
	lea	m_crlf(pc),a0
	bsr.w	puts
	bra.s	st5
st4	moveq	#' ',d0
	bsr.w	putc
st5	moveq	#'D',d0
	cmp.b	#8,d1
	blo.s	st6
	moveq	#'A',d0
st6	bsr.w	putc
	moveq	#7,d0
	and.b	d1,d0
	add.b	#'0',d0
	bsr.w	putc
	moveq	#'=',d0
	bsr.w	putc
	move.l	(a1)+,d0
	bsr.w	puthex8
	addq.b	#1,d1
	cmp.b	#16,d1
	blo.s	st3
	lea	m_pc(pc),a0
	bsr.w	puts
	move.l	(a1)+,d0
	bsr.w	puthex8
	lea	m_sr(pc),a0
	bsr.w	puts
	move.w	(a1),d0
	bsr.w	puthex4
	moveq	#0,d0
	rts

*	Texts

m_prompt dc.b	CR,LF,'* ',0
m_crlf	dc.b	CR,LF,0
m_rub	dc.b	BS,' ',BS,0
m_fetch	dc.b	CR,LF,'SKERRY.SYS from ',0
m_to	dc.b	' to ',0
m_pc	dc.b	CR,LF,'PC=',0
m_sr	dc.b	' SR=',0
	even
