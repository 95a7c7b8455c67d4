| Tide recorder of a harbour, pen board: dotted directives, bare registers.
* A float in a well drives a pen; a drum turns once a day; a line of
* telegraph sends the height on request.
/* The board has one port for the drum,
   one for the pen and one for the line. */
# Everything else is memory.

	.equ	DRUM, 0xff8001		| steps the drum
	.equ	PEN, 0xff8003
	.equ	LINE, 0xff8005
	.set	BUSY, 0x80
READY	=	0b01000000
	OCTAL	= 017
WELL	=	4*250
DEPTH	=	WELL/2+1
	.globl	start, report
	.global	heights
	.extern	elsewhere

| A sample: minute of the day, height, flags.
	.equ	s_minute, 0
	.equ	s_height, s_minute+2
	.equ	s_flags, s_height+2
	.equ	s_len, s_flags+2

	.text
	.even
start:	move.w	#0x2700, sr
	lea	stack, sp
	moveq	#0, d0
	move.l	d0, d1
	movea.l	#heights, a0
	move.w	#DEPTH-1, d7
1:	clr.w	(a0)+			| clears what is there
	dbra	d7, 1b
	bsr	drum_home
	jbsr	pen_up
	tst.w	d0
	jne	2f
	moveq	#-1, d0
2:	move.b	d0, PEN
	jra	main
drum_home:
	moveq	#READY>>4, d2
1:	btst	#6, DRUM
	beq	1b
	subq.w	#1, d2
	bne.s	1b
	rts

pen_up:
	move.b	#'u', d0
	move.b	#'\n', d1
	move.b	#' ', d2
	cmp.b	#'a, d0
	cmpi.b	#'\\', d0
	rts

main:
	movem.l	d0-d7/a0-a6, -(sp)
	movem.l	(sp)+, d0-d7/a0-a6
	movem.w	d0/d2/a1, (a0)
	movem.w	4(a0), d0-d3
	movem.l	#0x0103, -(a7)
L10:	bsr	sample
	jsr	store
	lea	(heights).l, a1
	lea	(0x4000).w, a2
	lea	0x4000.w, a2
	lea	heights.l, a3
	lea	text(pc), a4
	lea	(text,pc), a4
	lea	L10(pc,d0.w), a4
	lea	(L20,pc,d1.l), a5
	pea	text
	addq.l	#4, sp
	jhi	L10
	jls	L20
	jcc	L10
	jcs	L10
	jmi	L20
	jpl	L20
	jge	L10
	jlt	L10
	jgt	L10
	jle	L10
	jvc	L10
	jvs	L10
	jeq	L10
L20:	bra.w	L10

| Every mode of an operand.
sample:	move.b	(a0), d0
	move.b	(a0)+, d0
	move.b	-(a0), d0
	move.b	2(a0), d0
	move.b	(2,a0), d0
	move.b	2(a0,d1), d0
	move.b	2(a0,d1.w), d0
	move.b	(2,a0,d1.l), d0
	move.b	-2(a0,a1.l), d0
	move.b	(a0,d1.w), d0
	move.w	s_height(a0), s_flags(a1)
	move.w	s_height + 2(a0), d1
	move.l	#heights + 4*2, d3
	move.l	#WELL - ( DEPTH << 1 ), d3
	move.l	#~BUSY & 0xff, d3
	move.l	#(0x1200 ^ 0x34), d3
	move.l	#0x1200 ^ 0x34, d3
	move.l	#-(3 - 300), d3
	move.l	#100000 / 3%1000, d3
	move.w	d0, sr
	move.w	sr, d0
	move	usp, a0
	move	a0, usp
	andi	#0xfe, ccr
	ori.w	#0x0700, sr
	eori.b	#1, ccr
	exg	d0, a0
	swap	d3
	ext.w	d3
	ext.l	d3
	link	a6, #-8
	unlk	fp
	asl.w	#2, d0
	lsr.l	d1, d0
	rol	(a0)
	roxr.b	#1, d5
	mulu	#10, d0
	mulu.w	#WELL, d0
	divs	(a0)+, d1
	abcd	d0, d1
	sbcd	-(a0), -(a1)
	addx.l	-(a0), -(a1)
	cmpm.b	(a0)+, (a1)+
	cmp.b	(a0)+, (a1)+
	movep.w	d0, 6(a0)
	movep.l	0(a0), d0
	chk	d1, d0
	tas	(a0)
	st	d0
	sne	(a0)+
	dbeq	d0, sample
	nbcd	d0
	negx.w	d1
	not.l	(a0)
	trap	#14
	trapv
	stop	#0x2000
	reset
	rtr

store:	lea	heights, a0
	mulu	#s_len, d1
	adda.l	d1, a0
	move.w	d0, s_height(a0)
	add.w	#300, d0
	sub.l	#70000, d0
	and.b	#15, d0
	or.w	#OCTAL, d0
	eor.w	#5, d0
	cmp.l	#WELL, d0
	addi.b	#1, d0
	subq	#8, d0
	rts

report:	.globl	heights
	lea	text, a0
10:	move.b	(a0)+, d0
	jeq	11f
	jbsr	line_out
	jra	10b
11:	rts
line_out: move.b d0, LINE
	rts

	.macro	push reg
	move.l	\reg, -(sp)
	.endm
	.macro	pop reg=d0
	move.l	(sp)+, \reg
	.endm
	.macro	step count, by=2, to
	.if	\count
	add.w	#\by, \to
	step	\count-1, \by, to=\to
	.endif
	.endm
	.macro	delay n
	move.w	#\n, d7
wait\@:	dbra	d7, wait\@
	.endm
	.macro	either first:req, rest:vararg
	.byte	\first
	.ifnb	\rest
	either	\rest
	.endif
	.endm
	.macro	leaves what
	.ifc	\what, early
	.byte	1
	.exitm
	.endif
	.byte	2
	.endm
	.macro	defines name, value
	.macro	get_\name to
	move.w	#\value, \to
	.endm
	.endm
	.macro	joined a, b
\a\()_\b:	.word	\a\()1 - \b
	.endm

	push	d1
	push	a0
	pop	d1
	pop
	step	3, 300, d4
	step	2, to=d5, by=400
	delay	10
	delay	20*2
	either	1, 2, 3
	leaves	early
	leaves	late
	.even
	defines	depth, DEPTH
	get_depth d6
one1	=	7
two	=	2
	joined	one, two

	.rept	2
	.rept	3
	nop
	.endr
	.byte	2, 3
	.endr
	.irp	reg, d0, d1, a2
	move.l	\reg, (a0)+
	.endr
	.irpc	digit, 0123
	.byte	\digit, 0x3\digit
	.endr
	.irp	x, 1, 2
	.rept	2
	nop
	.word	\x*16
	.endr
	.irpc	y, 45
	.word	\x\y
	.endr
	.endr

	.if	WELL > 100 && DEPTH < 1000
	.if	WELL == 1000
	.byte	1
	.else
	.byte	2
	.endif
	.elseif	WELL
	.byte	3
	.else
	.byte	4
	.endif
	.ifdef	WELL
	.byte	5
	.else
	.byte	6
	.endif
	.ifndef	NOTHING
	.byte	7
	.endif
	.ifeq	WELL-1000
	.byte	8
	.endif
	.ifne	0
	.byte	9
	.elseif	1
	.byte	10
	.endif
	.ifgt	1
	.byte	11
	.endif
	.ifle	1
	.byte	12
	.else
	.byte	13
	.endif
	.even

table:	.long	start, main, heights+s_len
	.word	0x1234, main-start, -1, OCTAL
	.short	'A', 'B
	.int	0x12345678
	.hword	3
	.byte	1,2 , 3, 'x', '\'', 'A'
	.quad	0x12345678
text:	.ascii	"height of the tide: %d\n", "at | noon; \"no\" * more"
	.byte	0
	.asciz	"two \\ and \t \101\0"
	.string	"pen"
	.even
	.dc.b	1, 2
	.dc.w	3
	.dc.l	table
	.dc	4
	.dcb.w	3, 7
	.dcb.b	2, 0xee
	.ds.w	2
	.ds.b	1
	.even
	.space	4
	.skip	2, 0xff
	.fill	3, 2, 0x55
	.fill	2
	.zero	2
	.align	2
	.byte	1
	.byte	1
	.even
	.long	. - table
	.long	.-text

	.data
heights: .space	4*s_len
	.comm	shared, 16
	.lcomm	own, 8
	.bss
	.skip	64
stack:	.ds.l	1
	.end
text that nobody reads
