*
*	boot.s		Skerry 12 tide recorder: reset and boot
*
*	Assemble this file: it takes in the others.  The ROM starts the
*	machine, finds SKERRY.SYS on the disk, loads it and jumps to it.
*	Key C held at reset runs the program in ROM instead, key D stops
*	at the prompt.
*
	include	skerry.i
	include	chart.i		pen tables

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
	beq.s	console

*	From the disk: boot sector, format, file

bootdsk	bsr.w	dskinit		select, restore, assume a 720 K disk
	bne.s	failed
	moveq	#0,d0		boot sector
	lea	SECBUF,a1
	bsr.w	rdsec
	bne.s	failed
	bsr.w	setfmt		its media byte chooses the format
	bne.s	failed
	bsr.w	findfil		the boot file
	bne.s	failed
	bsr.w	loadfil
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
	lea	errtab(pc),a0
	add.w	d0,d0
	add.w	0(a0,d0.w),a0
	bsr.w	puts

*	The prompt: B boots from the disk, R from ROM

console	lea	m_prompt(pc),a0
	bsr.w	puts
	bsr.w	getc
	bsr.w	putc
	and.b	#$5F,d0		small letters will do
	cmp.b	#'B',d0
	beq.s	bootdsk
	cmp.b	#'R',d0
	beq.s	bootrom
	lea	m_what(pc),a0
	bsr.w	puts
	bra.s	console

*	Exceptions nobody expects: say which, then the prompt

buserr	lea	m_bus(pc),a0
	bra.s	crash
adrerr	lea	m_adr(pc),a0
	bra.s	crash
illins	lea	m_ill(pc),a0
	bra.s	crash
badtrap	lea	m_trap(pc),a0
	bra.s	crash
badint	lea	m_int(pc),a0
crash	move	#$2700,sr
	lea	STACK,sp
	move.b	#2,LAMPS
	bsr.w	puts
	bra.s	console

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

mtpats	dc.l	$FFFFFFFFF,$AAAA5555,$5555AAAA,0

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

*	puthex8		sends d0.l as eight hex digits

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

errtab	dc.w	m_what-errtab,m_rdy-errtab,m_sect-errtab,m_crc-errtab
	dc.w	m_late-errtab,m_fmt-errtab,m_file-errtab,m_fat-errtab
	dc.w	m_hdr-errtab,m_sum-errtab

m_hello	dc.b	CR,LF,'SKERRY 12  ROM 1.3',CR,LF,0
m_prompt dc.b	CR,LF,'* ',0
m_what	dc.b	CR,LF,'B = boot from disk, R = run ROM program',0
m_badram dc.b	CR,LF,'RAM fails at ',0
m_rdy	dc.b	CR,LF,'E1 drive not ready',0
m_sect	dc.b	CR,LF,'E2 sector not found',0
m_crc	dc.b	CR,LF,'E3 bad data on disk',0
m_late	dc.b	CR,LF,'E4 data lost,0
m_fmt	dc.b	CR,LF,'E5 unknown disk format',0
m_file	dc.b	CR,LF,'E6 no SKERRY.SYS on disk',0
m_fat	dc.b	CR,LF,'E7 FAT damaged',0
m_hdr	dc.b	CR,LF,'E8 not a Skerry program',0
m_sum	dc.b	CR,LF,'E9 program has a wrong sum',0
m_bus	dc.b	CR,LF,'bus error',0
m_adr	dc.b	CR,LF,'address error',0
m_ill	dc.b	CR,LF,'illegal instruction',0
m_trap	dc.b	CR, LF,'trap without an owner',0
m_int	dc.b	CR,LF,'interrupt without an owner',0
paper	dc.b	30,60,120,300	mm in an hour
	even

	include	disk.s
	include	load.s

	end

*	old plotter test, kept for the next series

plotold	move.b	#0,CHART
	rts
