| Tide recorder of a harbour, drum board: MIT syntax.
|
#NO_APP
	.text
	.globl	_start
	.globl	_heights
	.even
MINUTES = 24*60
PORT	=	0xff8001
	.set	LIMIT, 0x1ff
	.equ	MASK, 0x0f ^ 1
_start:
	movew	#0x2700,sr
	movel	#_stack,sp
	moveq	#0,d0		| nothing yet
	movl	d0,d1
	movb	d0,a1@
	moveb	a0@+,a1@-
	movew	a0@(4),d1
	movew	a0@(-4),a1@(6)
	movel	a0@(4,d0:w),d1
	movel	a0@(4,d0:l),d1
	movel	a0@(0,a2:l),d1
	movel	a0@(d0:w),d1
	movel	sp@(8),a0
	movel	fp@(-8),d0
	movel	fp@(8,d2:w),d0
	moveal	d0,a3
	movel	_heights,d0
	movel	_heights:l,d0
	movew	0x4000:w,d0
	movew	PORT:l,d0
	lea	pc@(L3),a0
	lea	pc@(L3,d0:w),a0
	lea	_heights,a0
	pea	a0@(12)
	addqw	#4,sp
	addql	#8,d0
	subqb	#1,d3
	addw	#LIMIT,d0
	addl	d1,d0
	addl	d0,a0@
	addal	d0,a1
	addib	#3,d0
	subw	a0@+,d0
	subil	#70000,d1
	andw	#MASK,d0
	andib	#0xfe,ccr
	orw	#0x700,sr
	orl	d1,d2
	eorw	d1,d2
	eoriw	#1,a0@
	cmpw	#300,d0
	cmpb	a0@+,d1
	cmpmb	a0@+,a1@+
	cmpal	d0,a1
	cmpil	#LIMIT,d0
	tstb	a0@
	tstw	d7
	clrl	a0@-
	clrb	_flag
L3:	negw	d0
	negxl	d0
	notb	a0@+
	extw	d0
	extl	d0
	swap	d0
	exg	d0,d1
	exg	a0,d1
	exg	a0,a1
	linkw	fp,#-12
	link	a6,#-12
	unlk	fp
	aslw	#2,d0
	asll	d1,d0
	asrl	#1,d0
	lslb	#8,d0
	lsrw	a0@
	rolw	#1,d0
	rorl	d0,d1
	roxlw	#1,d0
	roxrw	a0@(2)
	muluw	#10,d0
	mulsw	a0@+,d0
	divuw	d1,d0
	divsw	#MINUTES,d0
	abcd	d0,d1
	abcd	a0@-,a1@-
	sbcd	d0,d1
	addxl	d0,d1
	subxw	a0@-,a1@-
	nbcd	d0
	btst	#3,d0
	bset	d1,a0@
	bclr	#7,_flag
	bchg	#0,a0@(1)
	movepw	d0,a0@(0)
	movepl	a0@(2),d0
	moveml	d0-d7/a0-a6,sp@-
	moveml	sp@+,d0-d7/a0-a6
	moveml	#0x3f3e,sp@-
	moveml	sp@+,#0x7cfc
	movemw	d0/d2-d4/a1,a0@
	movemw	a0@(8),d0/a5
	movel	usp,a0
	movel	a0,usp
	movew	sr,d0
	movew	d0,ccr
	chk	d1,d0
	tas	_flag
	seq	d0
	shi	a0@+
	sf	_flag
	trap	#3
	trapv
	jbsr	sample
	jsr	a0@
	jsr	pc@(L3)
	jmp	a1@(4)
	jra	L9
	jeq	L9
	jne	L9
	jcs	L9
	jcc	L9
	jhi	L9
	jls	L9
	jge	L9
	jlt	L9
	jgt	L9
	jle	L9
	jpl	L9
	jmi	L9
	jvs	L9
	jvc	L9
	bras	L9
	beqs	L9
	bnew	L9
	bra	L9
	bsr	L9
	dbra	d0,L3
	dbf	d0,L3
	dbne	d1,L9
L9:	nop
	rts

| Names that look like something else.
reset:	reset
data:	stop	#0x2000
end$1:	rte
a.bc:	rtr
_a0:	illegal
x:	bra	reset
	bra	data
	bra	a.bc
	bra	_a0
	bra	end$1
	bra	x

sample:	movel	#0x10000+MINUTES,d0
	movel	#'A,d0
	movel	#'A',d0
	moveb	#'\t',d0
	moveb	#'#',d0		| not a comment: #
	moveb	#'|',d0
	movew	#(1<<4)+2,d0
	movew	#~1&0xff,d0
	movew	#-1,d0
	movew	#017,d0
	movew	#0b101,d0
	lea	_heights+4,a0
	lea	_heights-2,a0
	lea	_heights + 2*3,a0
	movel	#_heights+MINUTES-2,a1@(MINUTES-1438)
	rts
1:	subql	#1,d0
	jne	1b
	jeq	1f
	jra	2f
1:	addql	#1,d0
2:	jbsr	1b
	rts

/* A count of so many minutes. */
	.macro	wait	count
	movew	#\count,d7
7:	dbra	d7,7b
	.endm
	.macro	save	list
	moveml	\list,sp@-
	.endm
	.macro	load	reg, from=a0, at=0
	movel	\from@(\at+2),\reg
	.endm
	.macro	mov3	size
	mov\size	d0,d1
	mov\size	a0@+,d1
	.endm
	wait	10
	wait	MINUTES/2
	save	d0-d3
	save	d0/a2
	load	d0
	load	d1,a3
	load	d2,at=8
	load	at=4,reg=d3
	mov3	b
	mov3	w
	mov3	l
	.rept	3
	addql	#1,a0
	.endr
	.irp	n,1,2,3
	.byte	\n,\n+1
	.endr
	.irpc	c,123
	.word	0x4\c
	.endr
	.if	MINUTES-1440
	.byte	1
	.else
	.byte	2
	.endif
	.ifdef	LIMIT
	.byte	3
	.if	LIMIT==0x1ff
	.byte	4
	.elseif	LIMIT
	.byte	5
	.endif
	.endif
	.ifndef	LIMIT
	.byte	6
	.endif
	.even
_table:	.long	_start,sample,_table+4
	.word	1,2 , 3,L9-L3
	.byte	'b','\n','a
	.ascii	"tide | #1 \"high\"\0"
	.asciz	"low; water"
	.even
	.short	LIMIT
	.int	-1
	.float	1.5
	.double	0r-2.25
	.skip	3
	.space	1,7
	.fill	2,4,1
	.align	2
	.data
_flag:	.byte	0
	.even
_heights: .skip	MINUTES/10*2
	.data
	.comm	_buffer,64
	.lcomm	_own,4
	.bss
	.space	128
_stack:	.space	2
