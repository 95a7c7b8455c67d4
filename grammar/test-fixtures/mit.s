| A made-up weather buoy's firmware in MIT syntax: nothing here runs anywhere.
# 1 "buoy.s"
#include "defs.h"
#define PAIR(a, b) \
	.word a ; \
	.word b
  #ifdef MASTED
  # a comment with another mark
  #endif
/* A comment
   over several
   lines. */ and what follows it
// And one more.
* A star.
; A semicolon.
  | A bar behind blanks.

RAMTOP = 0x80000
STACK	= RAMTOP - 4
UART == 0xff0001
	.set	CLOCK, 8000000
	.globl	_start, _putc
	.text
	.even
SYM (_start):
	ENTRY(_putc)
ENTRY(_getc) | a call, as in C
	FUNC(_sum):	rts
_vectors:
	.long	STACK, _start
	.word	1 + 2 * 3, (1 | 2), 4 / 2
	.byte	'a', '\n', '\'', 0x1F, 017
	.asciz	"text with | marks; and \"quotes\"\n"|and a comment
	.skip	4
start:	movw	#0x2700,sr	| no interrupts
	movl	#STACK,sp|the stack
	movel	&STACK,sp
	lea	a0@,a1
	movb	a0@+,a1@-
	movew	a0@(4),a1@(-2)
	movl	a0@(4,d1:w),a1@(0,d2:l)
	movl	a0@(d1:l),d0
	lea	pc@(table),a0
	lea	pc@(table-.-2,d0:w),a0
	lea	%pc@(2,%d0:l),%a0
	movl	%fp@(8),%d0
	movl	fp@(buffer:w),d1
	clrl	name:w
	clrl	name:l
	tstb	name:w | short
	cmpl	#name:l,d0
	movml	d0-d7/a0-a6,sp@-
	moveml	sp@+,#0x7fff
	movm.l	sp@+, d0/d1
	mov.w	d0, d1
	movq	#1,d0
	movql	#-1,d7
	movpw	a0@(0),d1
	andb	#0xfe,cc
	movb	(a0)+,-(a1)
	movb	4(a0,d0.w),(4,a1)
	addqb	#1,d0
	addql	#4, sp | drop it
	dbra	d0,1b
1:	bras	1b
2:	jbsr	_putc
	jbne	2b
loop	movcl	d0,vbr
save_regs a0@,d0
leave
	jne	2b
	beqs	done;again
	lsll	#2,d0
	swap	d0|halves
	rts|back
	nop	no operands, so that this is a comment
	store	d0,<a | b>,"x | y"	| a macro
	store	(a0),a|b
	store	x@+ | y
done:	| the end
