*
*	TIDE RECORDER OF A HARBOUR, MAIN BOARD: MOTOROLA SYNTAX.
*	Each line as its author had it: upper case and lower, remarks with a
*	mark and without.
*
	TTL	'Tide recorder'
	OPT	CRE
	LLEN	132
	PAGE
	INCLUDE	column.i

	XDEF	START,REPORT
	IDNT	1,0
MAXLVL	EQU	$1FF	highest level of the well
ZERO	equ	%00010000
OCT	EQU	@17
SERIES	SET	1
half	=	MAXLVL/2
ch	equ	'A'
tag	equ	'TIDE'
both	EQU	ZERO!OCT
mixed	EQU	ZERO&$F0+1
shift	EQU	1<<4>>1
paren	EQU	(MAXLVL-1)*(2+1)
minus	EQU	-5
comp	EQU	~$FFFFFF0F
REGS	REG	D0-D3/A0/A5
ONE	REG	D7
COUNT	EQUR	D5
BASE	EQUR	A5
	IFND	NOTHERE
DEMO	EQU	1
	ENDC
*	a sample
	RSRESET
S_MIN	RS.W	1	minute
S_LVL	RS.W	1	level
S_FLG	RS.B	2
S_PTR	RS.L	1
S_LEN	RS.B	0
	OFFSET	0
Q_HEAD	DS.W	1
Q_TAIL	DS.W	1
Q_BUF	DS.B	16
Q_LEN	DS.B	0

	SECTION	code
START	MOVE.W	#$2700,SR	no interrupts
	LEA	STACK,SP	the stack
	CLR.L	D0		; nothing yet
	MOVE.L	D0,D1		* nor here
	MOVEA.L	#$12345,BASE
	MOVE.W	#MAXLVL-1,COUNT
1$	CLR.W	(A0)+
	DBRA	COUNT,1$	until all are clear
	BSR	HOME
	TST.W	D0
	BNE.S	2$
	MOVEQ	#-1,D0
2$	MOVE.B	D0,$FF8001
	BRA	MAIN
HOME:	MOVE.W	#both,D2
.wait:	BTST	#6,$FF8003
	BEQ.S	.wait
	SUBQ.W	#1,D2
	BNE	.wait
	RTS	back
PENUP	MOVE.W	#mixed,D2
.wait	BTST	#7,$FF8003	the same name again
	BEQ.S	.wait
again$	BEQ	again$
	RTS

MAIN	MOVEM.L	REGS,-(SP)
	MOVEM.L	(SP)+,REGS
	movem.l	d0-d7/a0-a6,-(sp)
	movem.l	(sp)+,d0-d7/a0-a6
	movem.w	d0/d2-d3/a1,(a0)
	movem.w	4(a0),d0-d3
	movem.l	ONE,4(a0)
loop	jsr	SAMPLE
	bsr.w	STORE
	bhi	loop
	bls.s	loop
	bcc	loop
	bhs.s	loop
	bcs	loop
	blo.s	loop
	beq	loop
	bvc	loop
	bvs	loop
	bpl	loop
	bmi	loop
	bge	loop
	blt	loop
	bgt	loop
	ble	loop
	jmp	(a0)

*	Every mode
SAMPLE	move.b	(a0),d0
	move.b	(a0)+,-(a1)
	move.b	2(a0),3(a1)
	move.b	-2(a0,d1),d0
	move.b	2(a0,d1.w),d0
	move.b	2(a0,a1.l),d0
	move.b	(2,a0),d0
	move.b	(2,a0,d1.w),d0
	move.w	S_LVL(a0),S_FLG(a1)
	move.w	Q_TAIL(BASE),Q_BUF(BASE,COUNT.W)
	move.w	TABLE(pc),d0
	move.w	*+6(pc),d0	the location
	move.w	loop(pc,d0.w),d0
	move.l	$4000.w,d0
	move.l	$FF8000.l,d0
	move.l	#TABLE+4*2,d3
	move.l	#tag,d0
	move.b	#ch+$80,d0
	move.b	#'''',d0
	move.b	#';',d0	a mark in quotes
	move.b	#'*',d0
	move.b	#' ',d0
	move.w	#'AB',d0
	move.w	#paren,d0
	move.w	#minus,d0
	move.b	#comp,d0
	move.w	#half+shift,d0
	move.w	d0,ccr
	move.w	sr,d0
	move.l	usp,a0
	andi	#$FE,ccr
	ori.w	#$0700,sr
	eori.b	#1,(a0)
	exg	a0,d0
	swap	d3
	ext.l	d3
	link	a6,#-8
	unlk	a6
	asl.w	#2,d0
	lsr.l	d1,d0
	rol	(a0)
	mulu	#10,d0
	divs	(a0)+,d1
	abcd	d0,d1
	sbcd	-(a0),-(a1)
	addx.l	-(a0),-(a1)
	cmpm.b	(a0)+,(a1)+
	movep.w	d0,6(a0)
	chk	d1,d0
	tas	(a0)
	sne	(a0)+
	dbeq	d0,SAMPLE
	nbcd	d0
	negx.w	d1
	trap	#14
	trapv
	stop	#$2000
	reset
	rtr	; the end

STORE	lea	HEIGHTS,a0
	mulu	#S_LEN,d1
	adda.l	d1,a0
	move.w	d0,S_LVL(a0)
	add.w	#300,d0
	sub.l	#70000,d0
	and.b	#15,d0
	or.w	#OCT,d0
	cmp.l	#MAXLVL,d0
	addi.b	#1,d0
	subq	#8,d0
	rts
REPORT	lea	TEXT,a0
.next	move.b	(a0)+,d0
	beq.s	.done
	bsr	PUT
	bra.s	.next
.done	rts
PUT	move.b	d0,$FF8005
	rts

*	Macros
PUSH	MACRO
	MOVE.\0	\1,-(SP)
	ENDM
POP	MACRO
	IFEQ	NARG-1
	MOVE.L	(SP)+,\1
	ENDC
	IFGT	NARG-1
	MOVEM.L	(SP)+,\1/\2
	ENDC
	ENDM
WAIT	MACRO	count,register
	MOVE.W	#\1,\2
W\@	DBRA	\2,W\@
	ENDM
TWICE	MACRO
	WAIT	\1,\2
	WAIT	\1*2,\2
	ENDM
TEXTZ	MACRO
	DC.B	\1,0
	ENDM
UNLESS	MACRO
	IFC	'\1','none'
	MEXIT
	ENDC
	DC.W	\1
	ENDM
DOWN	MACRO
	IFGT	\1
	DC.W	\1
	DOWN	\1-1
	ENDC
	ENDM
MAKER	MACRO
\1_GET	MOVE.W	#\2,D0
\1_PUT	MOVE.W	D0,\2.W
	ENDM
	PUSH.L	D0
	PUSH.W	#300
	PUSH.L	<4(A0,D0.W)>
	POP	D0
	POP	D0,A1
	WAIT	10,D7	a remark
	TWICE	MAXLVL,D6
	TEXTZ	<'low, high',13>
	EVEN
	UNLESS	none
	UNLESS	$55AA
	DOWN	3
	MAKER	LEVEL,$4000

	IFEQ	SERIES-1
	DC.B	1
	IFNE	SERIES-1
	DC.B	2
	ELSE
	DC.B	3
	IFD	DEMO
	DC.B	4
	ENDC
	IFND	DEMO
	DC.B	5
	ENDC
	ENDC
	ELSEIF	SERIES-2
	DC.B	6
	ELSE
	DC.B	7
	ENDC	SERIES-1
SERIES	SET	SERIES+1
	IFGT	SERIES-1
	DC.B	8
	ENDIF
	IFLE	SERIES-1
	DC.B	9
	ENDC
	IF	SERIES=2
	DC.B	10
	ENDC
	IFNC	'a','b'
	DC.B	11
	ENDC
	EVEN
	REPT	2
	NOP
	REPT	3
	DC.B	SERIES
	ENDR
	DC.B	0
	ENDR

	SECTION	tables
TABLE	DC.L	START,MAIN,HEIGHTS+S_LEN
	DC.W	$1234,MAIN-START,-1,OCT
	DC.W	'A','AB'
	DC.B	1,2,'x','it''s',$FF
	DC.W	Q_LEN
TEXT	DC.B	'level; * of | the tide',13,10,0
	DC.B	"two 'kinds'",0
	EVEN
	DCB.W	3,7
	DCB.B	2,$EE
	DS.W	2
	DC.B	1
	DC.L	'abcde'
	CNOP	0,2
	DS.L	0
HEIGHTS	DS.B	4*S_LEN
	DS.B	64
STACK	DS.L	1
	DC.W	*-STACK
	END	START
text that nobody reads
