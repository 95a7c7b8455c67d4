# Tide recorder of a harbour, line board: registers behind a percent sign.
	.file	"line.s"
	.text
	.align	2
	.globl	line_start
	.type	line_start, @function

	.equ	LINE, 0xffff8005
	.equ	SPEED, 300
	.equ	STOPS, 2
	PARITY = 0x4
	.set	FRAME, 8 + STOPS

line_start:
	link.w	%fp, #-FRAME
	movem.l	%d2-%d7/%a2-%a5, -(%sp)
	movem.l	(%sp)+, %d2-%d7/%a2-%a5
	move.w	#0x2700, %sr
	move.l	8(%fp), %d0		| what the caller gave
	move.l	(8,%fp), %d0
	move.l	12(%a6,%d1.w), %d0
	move.l	(12,%a6,%d1.l), %d0
	move.l	%a0@(4), %d0
	move.l	%a0@+, %d0
	move.l	%a0@-, %d0
	move.l	%a0@, %d0
	move.l	%a0@(2,%d1:w), %d0
	move.l	%d0, %a0
	movel	%d0, %a1
	movew	%d0, %d1
	moveb	#-1, %d2
	moveq	#100, %d3
	lea	(text,%pc), %a0
	lea	text(%pc), %a0
	lea	1f(%pc,%d0.w), %a0
	lea	(-4,%sp), %sp
1:	lea	LINE, %a1
	lea	(LINE).w, %a1
	lea	counts, %a1
	lea	counts.l, %a1
	lea	(counts+4).l, %a1
	pea	(%a0)
	pea	1234.w
	clr.l	-(%sp)
	clr.b	counts+1
	tst.l	%d0
	jeq	.Lnone
	jne	.L2
	jra	.L3
.L2:	jbsr	send
	bsr.w	send
.L3:	jsr	send
	jmp	.L2
.Lnone:
	add.l	#SPEED, %d0
	add.l	%d0, counts
	adda.w	#FRAME, %a0
	addi.w	#1, (%a0)
	addq.w	#8, %a0
	sub.b	(%a0)+, %d1
	suba.l	%a0, %a0
	subi.l	#0x10000, %d0
	subq.l	#1, (%a0)+
	and.w	#~PARITY & 0xff, %d0
	andi.b	#0xfe, %ccr
	or.b	%d0, (%a0)
	ori	#0x700, %sr
	eor.l	%d0, %d1
	eori.b	#PARITY, %ccr
	cmp.w	#SPEED, %d0
	cmpa.l	%a0, %a1
	cmpi.b	#'0', (%a0)
	cmpm.l	(%a0)+, (%a1)+
	cmp.l	%a0, %d0
	not.w	%d0
	neg.l	(%a0)
	negx.b	%d0
	ext.l	%d0
	swap	%d0
	exg	%d0, %a0
	asl.l	#1, %d0
	asr.w	%d1, %d0
	lsl.w	(%a0)
	lsr.b	#8, %d0
	rol.w	#1, %d0
	ror.l	%d1, %d0
	roxl.w	#1, %d0
	roxr.w	-(%a0)
	mulu.w	#SPEED / 10, %d0
	muls.w	(%a0), %d0
	divu	%d1, %d0
	divs.w	4(%a0), %d0
	abcd	-(%a0), -(%a1)
	sbcd	%d0, %d1
	addx.w	%d0, %d1
	subx.l	-(%a0), -(%a1)
	btst	#5, LINE
	bset	%d0, %d1
	bclr	#1, (%a0)
	bchg	%d0, (%a0)+
	movep.l	%d0, 0(%a0)
	movep.w	1(%a0), %d0
	move	%usp, %a0
	move.l	%a0, %usp
	move	%d0, %ccr
	move	%sr, %d0
	tas	(%a0)
	scc	%d0
	st	-(%a0)
	chk	#10, %d0
	trap	#0
	stop	#0x2700
	dbf	%d0, .Lnone
	dbra	%d0, .Lnone
	dbhi	%d0, .Lnone
	unlk	%fp
	rts
	.size	line_start, .-line_start

send:	move.b	%d0, LINE
1:	btst	#1, LINE - 2
	jeq	1b
	bra	2f
1:	nop
2:	jne	1b
	rts
name.with.dots:	nop
$dollar:	bra	name.with.dots
L$1:	bra	L$1
_low:	bra	_low

	.macro	call	to, args:vararg
	.irp	it, \args
	move.l	\it, -(%sp)
	.endr
	jsr	\to
	.endm
	.macro	count	where=counts, by=1
	.ifeq	\by - 1
	addq.l	#1, \where
	.exitm
	.endif
	add.l	#\by, \where
	.endm
	.macro	field	name, size
	.equ	f_\name, next
	.set	next, next + \size
	.endm
	.macro	frame	size:req
	.macro	leave_\size
	lea	\size(%sp), %sp
	.endm
	lea	-\size(%sp), %sp
	.endm
	.macro	twice	what:vararg
	\what
	\what
	.endm
	.macro	unique
u\@_1:	nop
	jra	u\@_1
	.endm
	.macro	size_of	s, a, b
	move.\s	\a, \b
	.endm
	.set	next, 0
	field	height, 2
	field	minute, 2
	field	flags, 1
	call	send, %d0, #20, (%a0)
	call	send, #1
	count
	count	by=300
	count	(%a0), 2000
	frame	16
	leave_16
	twice	nop
	twice	unique
	size_of	b, %d0, %d1
	size_of	l, %d0, f_flags(%a0)
	move.w	#next, %d0

	.irp	r, d0, d1
	.rept	4
	move.w	%\r, %a0@(f_minute)
	.endr
	.endr
	.irpc	c, 0123456789
	.byte	'0' + \c
	.endr

#  The line's board has a version.
	.set	VERSION, 2
	.if	VERSION == 1
	.byte	1
	.elseif	VERSION == 2
	.byte	2
	.if	SPEED >= 300 && PARITY
	.byte	22
	.else
	.byte	23
	.endif
	.else
	.byte	3
	.endif
	.ifndef	NOTHING
	.byte	4
	.endif
	.ifdef	SPEED
	.byte	5
	.endif
	.ifge	VERSION - 2
	.byte	6
	.endif
	.iflt	VERSION - 2
	.byte	7
	.endif
	.ifc	"a b", "a b"
	.byte	8
	.endif
	.ifnc	a, b
	.byte	9
	.endif
	.ifb
	.byte	10
	.endif
	.ifnb	x
	.byte	11
	.endif
	.even

	.section	.rodata, "a"
text:	.ascii	"tide at %d; \"x\"\n" , "more\0"
	.asciz	"a", "b"
	.string	"c\\"
	.byte	0x41, 'B', '\'', 0101, 0b1
	.even
table:	.long	line_start, text, counts + 4
	.long	. - table
	.word	SPEED, -SPEED, send - line_start
	.short	0xffff
	.hword	3
	.int	5
	.float	0.5
	.skip	6
	.space	2, 0xaa
	.fill	2, 2, 0x1234
	.zero	2
	.section	.data
	.globl	counts
counts:	.long	0, 1
	.quad	7
	.dc.b	1, 2
	.dc.w	3
	.dc.l	text
	.dcb.w	2, 0x4e71
	.ds.b	2
	.ds.l	1
	.bss
	.lcomm	line_buffer, 80
	.comm	line_shared, 4, 4
	.section	.bss
room:	.space	64
	.ident	"tide 2"
	.end
