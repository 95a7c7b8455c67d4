| Queue of jobs in the dotted style: text, data, bss, branches that are
| as long as they need to be, and labels that are numbers.
	.text
	.equ	SLOTS, 16
	.equ	WAITING, 0x80
	.set	DONE, WAITING>>1
	BASE = 0xFFFFA000
	.globl	start

qinit:	lea	queue,%a0
	move.w	#SLOTS-1,%d0
1:	clr.l	(%a0)+
	dbra	%d0,1b
	clr.w	head
	clr.w	tail
	rts

| puts %d0 into the queue
qput:	movem.l	%d1-%d2/%a0,-(%sp)
	move.w	tail,%d1
	move.w	%d1,%d2
	addq.w	#4,%d2
	and.w	#SLOTS*4-1,%d2
	cmp.w	head,%d2
	jeq	1f
	lea	queue,%a0
	move.l	%d0,(%a0,%d1.w)
	move.w	%d2,tail
	moveq	#0,%d0
	jra	2f
1:	moveq	#-1,%d0
2:	movem.l	(%sp)+,%d1-%d2/%a0
	rts

| takes the oldest
qget:	move.w	head,%d1
	cmp.w	tail,%d1
	jeq	9f
	lea	queue,%a0
	move.l	(%a0,%d1.w),%d0
	addq.w	#4,%d1
	and.w	#SLOTS*4-1,%d1
	move.w	%d1,head
	rts
9:	moveq	#0, %d0		| blanks behind a comma are allowed
	rts

| runs what is in it
start:	nop
run:	jbsr	qinit
1:	jbsr	qget
	tst.l	%d0
	jeq	3f
	move.l	%d0,%a0
	btst	#7,(%a0)
	jne	2f
	move.b	#DONE,(%a0)
	jra	1b
2:	move.l	2(%a0),%a1
	jsr	(%a1)
	jra	1b
3:	move.b	#1,BASE
	move.b	#'x',BASE+2
	bra	run
	beq	4f
	bsr	qput
4:	jmp	far

	.data
names:	.asciz	"drum", "pen\n"
	.even
jobs:	.long	names, run, far
	.word	SLOTS, WAITING+DONE, 017, 0b101
	.byte	1, 2, 'a', 'b'
	.ascii	"no end"
	.even

	.text
	.space	200
far:	jbsr	run
	jeq	run
	jne	qget
	jra	near
near:	jpl	5f
	nop
	.skip	130
5:	rts

	.bss
queue:	.space	SLOTS*4
head:	.skip	2
tail:	.skip	2
