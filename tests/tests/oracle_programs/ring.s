*
*	Serial driver: two rings of 64 bytes, one interrupt for both.
*	Nobody has placed it: references are relative where that can be.
*
PORT	EQU	$F80001		two registers, odd bytes
STATE	EQU	4
DATA	EQU	2
RXFULL	EQU	0
TXFREE	EQU	1
SIZE	EQU	64		a power of two
MASK	EQU	SIZE-1
XON	EQU	17
XOFF	EQU	19
CR	EQU	13
LF	EQU	10
HIGH	EQU	SIZE*3/4	here the other side is told to wait

*	serinit		empties both rings, lets the port go

serinit	lea	rxring,a0
	move.w	#SIZE*2+8,d0
	bra	si2
si1	clr.b	(a0)+
si2	dbra	d0,si1
	lea	PORT,a1
	move.b	#$55,STATE(a1)
	move.b	#%00010001,STATE(a1)
	tst.b	DATA(a1)
	rts

*	serint		the interrupt

serint	movem.l	d0-d2/a0-a1,-(sp)
	lea	PORT,a1
	move.b	STATE(a1),d2
	btst	#RXFULL,d2
	beq	int2
	move.b	DATA(a1),d0
	and.b	#$7F,d0
	cmp.b	#XOFF,d0
	bne	int1
	st	held
	bra	int2
int1	cmp.b	#XON,d0
	bne	keep
	sf	held
	bra	int2
keep	lea	rxring,a0
	move.w	rxin,d1
	move.b	d0,(a0,d1.w)
	addq.w	#1,d1
	and.w	#MASK,d1
	cmp.w	rxout,d1
	beq	lost
	move.w	d1,rxin
	bra	int2
lost	addq.w	#1,losses
int2	btst	#TXFREE,d2
	beq	int9
	tst.b	held
	bne	int9
	move.w	txout,d1
	cmp.w	txin,d1
	beq	int9
	lea	txring,a0
	move.b	0(a0,d1.w),DATA(a1)
	addq.w	#1,d1
	and.w	#MASK,d1
	move.w	d1,txout
int9	movem.l	(sp)+,d0-d2/a0-a1
	rte

*	getch		a character in d0, or the Z flag

getch	move.l	a0,-(sp)
	move.w	rxout,d0
	cmp.w	rxin,d0
	beq	gc9
	lea	rxring,a0
	move.b	(a0,d0.w),d0
	addq.w	#1,rxout
	and.w	#MASK,rxout
	and.l	#$7F,d0
	move	#0,ccr
gc9	movea.l	(sp)+,a0
	rts

*	putch		puts d0 into the ring, waits while it is full

putch	movem.l	d1-d2/a0,-(sp)
	move.w	txin,d1
	move.w	d1,d2
	addq.w	#1,d2
	and.w	#MASK,d2
pc1	cmp.w	txout,d2
	beq	pc1
	lea	txring,a0
	move.b	d0,(a0,d1.w)
	move.w	d2,txin
	movem.l	(sp)+,d1-d2/a0
	rts

*	puts		the text at a0, up to a zero byte

puts	move.b	(a0)+,d0
	beq	ps9
	bsr	putch
	bra	puts
ps9	rts

hello	lea	text,a0
	jsr	puts
	jmp	serinit

text	dc.b	CR,LF,'port A ready',CR,LF,0
	even
rxring	ds.b	SIZE
txring	ds.b	SIZE
rxin	ds.w	1
rxout	ds.w	1
txin	ds.w	1
txout	ds.w	1
losses	ds.w	1
held	ds.b	1
	even
last	dc.w	last-serinit
	end
