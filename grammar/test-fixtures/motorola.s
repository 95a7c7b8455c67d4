*--------------------------------------------------------------
* A made-up controller's firmware: nothing here runs anywhere.
*--------------------------------------------------------------
; Equates with and without the sign.
ramtop	equ	$00080000	first byte beyond the memory
stack	=	ramtop-4
uart	EQU	$00FF0001
ustat	equ	uart+2
clock	equ	8000000		; in hertz
baud	equ	9600
divider	set	clock/(16*baud)
divider	set	divider-1
flags	equ	%10110001
mode	equ	@755
letter	equ	'A'
tag	equ	'BOOT'
mask	equ	(flags&$0F)!$80
shifted	equ	1<<4+1
both	equ	$F0|$0F
other	equ	~mask
saved	reg	d2-d7/a2-a6
work	reg	d0/d1/a0/a1
count	equr	d7
ten	= &10
limit == ten*2
again := limit+1

	section	code,code_c
	org	$400
	opt	o+,w-
	ttl	Controller firmware
	page
	xdef	start,putc,getc
	xref	table,finish
	xref.s	quick
	include	"defs.i"
	include	sys/uart.i	with no quotes
include	'column.i'

* The vectors.
vectors:
	dc.l	stack,start
	dc.l	buserr,adderr,illins
	dcb.l	8,fault
	dc.b	'it''s here',13,10,0
	dc.b	"double ""quotes""",0
	dc.b	'a, b; c * d | e',0	text with marks
	even
	dc.w	1, 2, 3, 4
	dc.w	vectors-*,*+4
	dc.w	(ten+2)*3,-ten,-(ten+1)
	dc.w	ten<limit,ten<>limit,ten>=limit
	dc.l	1.5,2e3
	ds.b	16
	ds.w	0
	cnop	0,4

* Start: all of the operand forms.
start:	move.w	#$2700,sr
	lea	stack,sp
	lea	vectors(pc),a0
	lea	(vectors,pc),a1
	lea	table(pc,d0.w),a2
	lea	(table,pc,d0.l),a2
	move.l	4.w,a6
	move.l	(uart).l,d0
	move.b	ustat.l,d0
	move.b	(ustat+2).w,d0
	move.w	(a0),d0
	move.w	(a0)+,d0
	move.w	-(a0),d0
	move.w	4(a0),d0
	move.w	-4(a0),d0
	move.w	(4,a0),d0
	move.w	4(a0,d1.w),d0
	move.w	(4,a0,a1.l),d0
	move.w	(a0,d1),d0
	move.w	(rec.size)(a0),d0
	move.w	rec.size(a0),d0
	movem.l	d0-d7/a0-a6,-(sp)
	movem.l	(sp)+,d0-d7/a0-a6
	movem.l	saved,-(a7)
	movem.w	d0/d2/a1,work_area
	movep.w	d0,4(a0)
	move	usp,a0
	move	a0,usp
	move	ccr,d0
	ori	#4,ccr
	andi	#$F8FF,sr
	moveq	#-1,d0
	addq.w	#8,a0
	cmpm.b	(a0)+,(a1)+
	btst	#3,ustat
	bset	d0,(a0)
	asl.w	(a0)
	lsr.l	#4,d0
	roxl.b	d1,d0
	mulu	d0,d1
	divs.w	#ten,d1
	ext.l	d1
	swap	d1
	exg	d0,a0
	link	a6,#-16
	unlk	a6
	tas	flag
	trap	#15
	chk	#4,d0
	stop	#$2000
	dbra	count,start
	dbne	d0,.wait
	seq	flag
	shi	(a0)+
	abcd	-(a0),-(a1)
	nbcd	d0
	bkpt	#1
	rtd	#4
	nop
	reset	the devices
	rts	back to the caller
	rte
	rtr
	trapv
	illegal

* Branches and local labels.
putc	move.w	d1,-(sp)		keep it
.wait	btst	#7,ustat
	beq.s	.skip
	bra.s	.wait
.skip	move.b	d0,uart;send
.end
	move.w	(sp)+,d1
	rts

getc::	bsr	putc
1$	tst.b	d0
	bne.s	1$
loop$	dbf	d0,loop$
@here	bra.b	@here
	bra	*
	bra	* ; for ever
	bsr.w	putc
	jsr	putc(pc)
	jmp	(a0)
	jmp	finish
	blo	getc
	bhs	getc

* Names that are also operations.
data	dc.b	1
text:	dc.b	2
end:	nop
set	set	1
size	equ	2
move	nop
line
	fresh:	nop
   indented:
alone
colon:

* Conditionals.
	ifd	debug
	bsr	dump
	else	no debugging
	nop
	endc	debug
	ifeq	ten-10
	ifne	limit
	endif
	endc
	if	ten=10
	elseif	limit>3
	endif
	ifc	'\1',''
	endc
	ifnc	"\1","d0"
	endc
ifnd	release
endc
	IF	<EQ> THEN
	ENDI

* Macros.
store	macro
	ifb	\1
	mexit
	endc
	move.\0	\1,(\2)+
	move.\0	d\3,4(\2)
loop\@	dbra	\1,loop\@
	\4	d0
	endm

	macro	fetch
	move.l	(\1),\2
	endm

take	macro	from,to
	move.l	\from,\to
	endm

	store.w	d0,a1,2,clr
	store	<a, b>,#4,(a0,d0.w)
	fetch	a0,d1	with a comment
	take	'x, y',"z"
	lib.call	1,2
	lib.call.l	a<b,c
	nothing
	narg.test;comment

	rept	4
	dc.w	0
	endr

/* A comment in the manner of C. */
// Another.
| And another.
#define kept 1
	* an indented star

rec.size	equ	2
buserr:
adderr:
illins:	rte
fault	bra.s	fault
flag	ds.b	1
STORE(flag)
	if(DEBUG)
	endc
	.type	flag,object
	even
work_area	ds.l	8
	end	start
