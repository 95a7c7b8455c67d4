*
*	boot.s		Skerry 12 tide recorder: reset and boot
*
*	Assemble this file: it takes in the others.  The ROM starts the
*	machine, finds SKERRY.SYS on the disk, loads it and jumps to it.
*	Key C held at reset runs the program in ROM instead, key D stops
*	at the prompt (see monitor.s).
*
	include	skerry.i

	org	ROMBASE

*	Exception vectors

	dc.l	STACK		0	stack at reset
	dc.l	start		1	where to begin
	dc.l	buserr		2	bus error
	dc.l	adrerr		3	address error
	dc.l	illins		4	illegal instruction
	dcb.l	20,badint	5-24	nothing here is ours
	dcb.l	7,badint	25-31	autovectors, the program sets its own
	dcb.l	16,badtrap	32-47	traps
	dcb.l	208,badint	48-255

*	Reset.  There is no stack until the memory has been tried.

start	move	#$2700,sr	interrupts off while in ROM
	reset			reset line of all the ports
	move.b	#3,LAMPS	both lamps: somebody is alive
	lea	st1(pc),a6	memtest returns through a6
	bra.w	memtest
st1	lea	STACK,sp
	move.l	a0,MEMTOP
	bsr.w	coninit
	lea	m_hello(pc),a0
	bsr.w	puts
	move.l	MEMTOP,d0
	cmp.l	#RAMEND,d0
	beq.s	st2
	lea	m_badram(pc),a0
	bsr.w	puts
	bsr.w	puthex8		address of the first bad long word
	bra.w	console
st2	move.b	#128,CHART	pen to the middle of the paper

*	What shall we boot from?

	move.b	PANEL,d0
	bpl.s	bootdsk		no key down: the disk
	and.b	#$0F,d0
	cmp.b	#KEYROM,d0
	beq.s	bootrom
	cmp.b	#KEYHOLD,d0
	beq.w	console

*	From the disk

bootdsk	bsr.s	bootfil
	bne.s	failed
	lea	LOADAD,a0
	bra.s	runprog

bootrom	lea	ROMPROG,a0

*	Check the program at a0 and go

runprog	bsr.w	chkhead
	bne.s	failed
	move.b	#1,LAMPS	READY on, FAULT off
	move.l	a0,a1
	add.l	HDENTRY(a0),a1
	move.l	MEMTOP,d0	the program wants to know
	jmp	(a1)

*	d0 holds an error number

failed	move.b	#2,LAMPS	FAULT
	bsr.s	tell
	bra.w	console

*	tell		sends the text of error number d0

tell	lea	errtab(pc),a0
	add.w	d0,d0
	add.w	0(a0,d0.w),a0
	bra.w	puts

*	bootfil		boot sector, format, file: all that has to be read
*	Out: a1 = end of the file in RAM, which starts at LOADAD

bootfil	bsr.w	dskinit		select, restore, assume a 720 K disk
	bne.s	bf9
	moveq	#0,d0		boot sector
	lea	SECBUF,a1
	bsr.w	rdsec
	bne.s	bf9
	bsr.w	setfmt		its media byte chooses the format
	bne.s	bf9
	bsr.w	findfil		the boot file
	bne.s	bf9
	bsr.w	loadfil
bf9	rts

*	Exceptions nobody expects: keep the registers, say which, then the
*	prompt.  Bus and address error push four words more.

buserr	move.w	#EBUS,-(sp)
	bra.s	crashl
adrerr	move.w	#EADR,-(sp)
crashl	movem.l	d0-d7/a0-a6,REGS
	move.w	(sp)+,d0
	addq.l	#8,sp		access and instruction
	bra.s	cr1
illins	move.w	#EILL,-(sp)
	bra.s	crash
badtrap	move.w	#ETRAP,-(sp)
	bra.s	crash
badint	move.w	#EINT,-(sp)
crash	movem.l	d0-d7/a0-a6,REGS
	move.w	(sp)+,d0
cr1	move	#$2700,sr
	move.w	(sp)+,d1
	move.w	d1,REGSR
	move.l	(sp)+,REGPC
	move.l	sp,a0
	btst	#13,d1		in supervisor state?
	bne.s	cr2
	move	usp,a0
cr2	move.l	a0,REGA7
	lea	STACK,sp
	bra.w	failed

*	memtest		fills RAM with each pattern and reads it back.
*	Out: a0 = first bad long word, or RAMEND.  Uses d0-d2, a0-a2.
*	No stack: returns to (a6).

memtest	lea	mtpats(pc),a2
mt1	move.l	(a2)+,d2
	lea	RAMBASE,a0
	move.l	#RAMSIZE/4,d1
mt2	move.l	d2,(a0)+
	subq.l	#1,d1
	bne.s	mt2
	lea	RAMBASE,a0
	move.l	#RAMSIZE/4,d1
mt3	cmp.l	(a0),d2
	bne.s	mt4
	addq.l	#4,a0
	subq.l	#1,d1
	bne.s	mt3
	tst.l	d2		the last pattern is 0: leave RAM clear
	bne.s	mt1
mt4	jmp	(a6)

mtpats	dc.l	$FFFFFFFF,$AAAA5555,$5555AAAA,0

*	coninit		console on channel A: 9600, 8 bits, no parity, 1 stop

coninit	lea	DUART,a0
	move.b	#$20,CRA(a0)	reset receiver
	move.b	#$30,CRA(a0)	reset transmitter
	move.b	#$40,CRA(a0)	reset errors
	move.b	#$10,CRA(a0)	point at the first mode register
	move.b	#$13,(a0)	8 bits, no parity
	move.b	#$07,(a0)	1 stop bit
	move.b	#$BB,CSRA(a0)	9600 in and out
	move.b	#$80,ACR(a0)	second set of rates
	move.b	#$05,CRA(a0)	receiver and transmitter on
	rts

*	putc		sends d0.b; keeps all registers

putc	move.l	a0,-(sp)
	lea	DUART,a0
pc1	btst	#TXRDY,SRA(a0)
	beq.s	pc1
	move.b	d0,TXA(a0)
	move.l	(sp)+,a0
	rts

*	getc		waits for a character, d0.b

getc	move.l	a0,-(sp)
	lea	DUART,a0
gc1	btst	#RXRDY,SRA(a0)
	beq.s	gc1
	move.b	RXA(a0),d0
	and.b	#$7F,d0
	move.l	(sp)+,a0
	rts

*	puts		sends the text at a0 up to a zero byte

puts	move.l	d0,-(sp)
ps1	move.b	(a0)+,d0
	beq.s	ps2
	bsr.w	putc
	bra.s	ps1
ps2	move.l	(sp)+,d0
	rts

*	puthex8		sends d0.l as eight hex digits;  puthex4	d0.w as
*	four;  puthex2	d0.b as two

puthex2	movem.l	d0-d2,-(sp)
	move.l	d0,d1
	ror.l	#8,d1
	moveq	#1,d2
	bra.s	ph1
puthex4	movem.l	d0-d2,-(sp)
	move.l	d0,d1
	swap	d1
	moveq	#3,d2
	bra.s	ph1
puthex8	movem.l	d0-d2,-(sp)
	move.l	d0,d1
	moveq	#7,d2
ph1	rol.l	#4,d1
	moveq	#$0F,d0
	and.b	d1,d0
	cmp.b	#10,d0
	blo.s	ph2
	addq.b	#7,d0		from : to A
ph2	add.b	#'0',d0
	bsr.w	putc
	dbra	d2,ph1
	movem.l	(sp)+,d0-d2
	rts

*	Texts.  errtab is indexed by the error numbers of skerry.i.

errtab	dc.w	0		0 is no error
	dc.w	m_rdy-errtab,m_sect-errtab,m_crc-errtab,m_late-errtab
	dc.w	m_fmt-errtab,m_file-errtab,m_fat-errtab,m_hdr-errtab
	dc.w	m_sum-errtab,m_cmd-errtab,m_num-errtab,m_args-errtab
	dc.w	m_odd-errtab,m_out-errtab,m_prot-errtab,m_bus-errtab
	dc.w	m_adr-errtab,m_ill-errtab,m_trap-errtab,m_int-errtab

m_hello	dc.b	CR,LF,'SKERRY 12  ROM 1.3',CR,LF,0
m_badram dc.b	CR,LF,'RAM fails at ',0
m_rdy	dc.b	CR,LF,'E1 drive not ready',0
m_sect	dc.b	CR,LF,'E2 sector not found',0
m_crc	dc.b	CR,LF,'E3 bad data on disk',0
m_late	dc.b	CR,LF,'E4 data lost',0
m_fmt	dc.b	CR,LF,'E5 unknown disk format',0
m_file	dc.b	CR,LF,'E6 no SKERRY.SYS on disk',0
m_fat	dc.b	CR,LF,'E7 FAT damaged',0
m_hdr	dc.b	CR,LF,'E8 not a Skerry program',0
m_sum	dc.b	CR,LF,'E9 program has a wrong sum',0
m_cmd	dc.b	CR,LF,'E10 no such word, only: disk rom list byte flood '
	dc.b	'take put fetch enter state',0
m_num	dc.b	CR,LF,'E11 not a hex number, or too large',0
m_args	dc.b	CR,LF,'E12 too few or too many numbers',0
m_odd	dc.b	CR,LF,'E13 odd address',0
m_out	dc.b	CR,LF,'E14 outside of RAM',0
m_prot	dc.b	CR,LF,'E15 disk is write-protected',0
m_bus	dc.b	CR,LF,'E16 bus error',0
m_adr	dc.b	CR,LF,'E17 address error',0
m_ill	dc.b	CR,LF,'E18 illegal instruction',0
m_trap	dc.b	CR,LF,'E19 trap without an owner',0
m_int	dc.b	CR,LF,'E20 interrupt without an owner',0
	even

	include	monitor.s
	include	disk.s
	include	load.s

	end
