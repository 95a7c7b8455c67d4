#	Tide recorder of a harbour, float board: the Unix style with
#	ampersands.
	file	"float.s"
	text
	even
	global	float_start
	global	heights
	set	MINUTES,24*60
	set	PORT,0xff8001
	set	LOWEST,-200
	set	MASK,0x0f
	set	STEP,MINUTES/10
	set	S%len,6

float_start:
	mov.w	&0x2700,%sr		# no interrupts
	mov.l	&stack,%sp
	movq	&0,%d0
	mov.l	%d0,%d1
	mov.b	%d0,(%a1)
	mov.b	(%a0)+,-(%a1)
	mov.w	4(%a0),%d1
	mov.w	-4(%a0),6(%a1)
	mov.l	4(%a0,%d0.w),%d1
	mov.l	4(%a0,%d0.l),%d1
	mov.l	0(%a0,%a2.l),%d1
	mov.l	8(%sp),%a0
	mov.l	-8(%fp),%d0
	mov.l	8(%fp,%d2.w),%d0
	mov.l	%d0,%a3
	mov.l	heights,%d0
	mov.w	PORT,%d0
	mov.l	&heights,%d3
	mov.l	&heights+STEP,%d3
	mov.l	&'a,%d0
	mov.b	&'a',%d0
	mov.b	&'\n',%d0
	mov.b	&' ',%d0
	mov.w	&017,%d0
	mov.w	&MASK&7,%d0
	mov.w	&LOWEST,%d0
	mov.w	&-1,%d0
	mov.w	&(1<<4)+2,%d0
	mov.w	&S%len,%d0
	mov.w	S%len(%a0),%d0
	mov.w	%d0,S%len+2(%a0)
	lea	heights,%a0
	lea	heights+4,%a0
	lea	L%2(%pc),%a0
	lea	L%2(%pc,%d0.w),%a0
	pea	12(%a0)
	pea	heights
L%1:	add.w	&300,%d0
	add.l	%d1,%d0
	add.l	%d0,(%a0)
	adda.l	%d0,%a1
	addi.b	&3,%d0
	addq.w	&4,%sp
	addq.l	&8,%d0
	sub.w	(%a0)+,%d0
	subi.l	&70000,%d1
	subq.b	&1,%d3
	suba.w	&300,%a1
	and.w	&MASK,%d0
	andi.b	&0xfe,%ccr
	or.w	&0x700,%sr
	or.l	%d1,%d2
	eor.w	%d1,%d2
	eori.w	&1,(%a0)
L%2:	cmp.w	%d0,&300		# what is compared stands first
	cmp.b	%d1,(%a0)+
	cmp.l	%d0,%d1
	cmp.l	%a1,%d0
	cmp.l	%d0,&STEP
	cmpi.b	(%a0),&'x'
	cmp.l	(%a0),&3
	cmp.w	4(%a0,%d0.w),&4
	blt	L%1
	bgt.w	L%1
	tst.b	(%a0)
	tst.w	%d7
	clr.l	-(%a0)
	clr.b	flag
	neg.w	%d0
	negx.l	%d0
	not.b	(%a0)+
	ext.w	%d0
	ext.l	%d0
	swap	%d0
	exg	%d0,%d1
	exg	%a0,%d1
	link	%fp,&-12
	unlk	%fp
	asl.w	&2,%d0
	asl.l	%d1,%d0
	asr.l	&1,%d0
	lsl.b	&8,%d0
	lsr.w	(%a0)
	rol.w	&1,%d0
	ror.l	%d0,%d1
	roxl.w	&1,%d0
	roxr.w	2(%a0)
	mulu.w	&10,%d0
	muls.w	(%a0)+,%d0
	divu.w	%d1,%d0
	divs.w	&MINUTES,%d0
	abcd	%d0,%d1
	abcd	-(%a0),-(%a1)
	sbcd	%d0,%d1
	addx.l	%d0,%d1
	subx.w	-(%a0),-(%a1)
	nbcd	%d0
	btst	&3,%d0
	bset	%d1,(%a0)
	bclr	&7,flag
	bchg	&0,1(%a0)
	movp.w	%d0,0(%a0)
	movp.l	2(%a0),%d0
	movm.l	%d0-%d7/%a0-%a6,-(%sp)
	movm.l	(%sp)+,%d0-%d7/%a0-%a6
	movm.l	&0x3f3e,-(%sp)
	movm.l	(%sp)+,&0x7cfc
	movm.w	%d0/%d2-%d4/%a1,(%a0)
	movm.w	8(%a0),%d0/%a5
	mov.l	%usp,%a0
	mov.l	%a0,%usp
	mov.w	%sr,%d0
	mov.w	%d0,%ccr
	chk	%d1,%d0
	tas	flag
	seq	%d0
	shi	(%a0)+
	sf	flag
	trap	&3
	trapv
	jsr	sample
	jsr	(%a0)
	jmp	4(%a1)
	bsr	sample
	bra	L%9
	beq	L%9
	bne.b	L%9
	bcs	L%9
	bcc	L%9
	bhi	L%9
	bls	L%9
	bge	L%9
	ble	L%9
	bpl	L%9
	bmi	L%9
	bvs	L%9
	bvc	L%9
	dbra	%d0,L%1
	dbf	%d0,L%1
	dbne	%d1,L%9
L%9:	nop
	rts

sample:	mov.l	heights,%d0
	mov.l	%d0,-(%sp)		# "quotes" in a comment
	jsr	line~out
	addq.l	&4,%sp
	rts
line~out:
	mov.b	&'h,PORT
	mov.b	&'"',PORT
	rte

#	The mean of so many samples: how many, where they lie.
	global	mean
mean:	link	%fp,&0
	movm.l	%d2-%d3/%a2,-(%sp)
	mov.w	8(%fp),%d2		# how many
	mov.l	10(%fp),%a2		# where
	clr.l	%d0
	tst.w	%d2
	beq.b	M%done
	mov.w	%d2,%d3
M%next:	add.w	(%a2)+,%d0
	subq.w	&1,%d3
	bne.b	M%next
	divu.w	%d2,%d0
M%done:	movm.l	(%sp)+,%d2-%d3/%a2
	unlk	%fp
	rts

# names that look like something else
reset:	reset
stop:	stop	&0x2000
data1:	illegal
	bra	reset
	bra	stop
	bra	data1
	rtr

table:	long	float_start,sample,table+4
	short	1,2 , 3,L%9-L%2
	byte	'b','\n',0x7f,'a
	string	"tide at # 3\n"
	long	MINUTES,STEP*2-1
	short	-1
	byte	1
	even
	short	LOWEST
	space	4
	space	2*3
	data
flag:	byte	0
	even
heights:
	space	4*60
	comm	shared,64
	lcomm	own,4
	bss
	space	128
stack:	space	2
