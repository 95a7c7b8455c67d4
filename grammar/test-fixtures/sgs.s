# A made-up lift's firmware in the Unix style with & for immediates: nothing here runs anywhere.
#include "defs.h"
#define CALL(name) \
	jsr	name
	# if FLOORS
	# a comment
	# endif
/* A comment
   over several
   lines. */
// And one more.
* A star.
| A bar.
; A semicolon.

	file	"lift.s"
	global	main, stop%x
	set	FLOORS,12
	set	TOP,FLOORS-1
SIZE = 4 # with a sign
	text
	even
SYM (main):	# a label of the preprocessor
	ENTRY(hall)
ENTRY(shaft)#a call
main:
L%12:	link.l	%fp,&F%1
L%13	mov.l	%d0,%d1
x~y:	mov.w	&0x2700,%sr#no interrupts
	mov.b	&'a',%d0
	mov.l	&L%12,%a0
	mov.l	& TOP + 1,%d0
	movm.l	&0x3c,(4,%sp)
	mov.l	(%sp)+,%d0
	mov.l	%d0,-(%sp)
	mov.l	8(%fp),%a0
	mov.l	(8,%fp),%a0
	mov.l	(4,%a0,%d0.w),%d1
	mov.l	4(%a0,%d0.l),%d1
	lea.l	(table,%pc),%a0
	lea.l	table(%pc,%d0.w),%a0
	mov.l	table+4,%d0
	mov.w	table.w,%d0
	mov.w	table:l,%d0
	mov.w	%a0@(4,%d1:w),%d0
	mov.b	%a0@+,%a1@-
	clr.l	%a0@
	and.b	&-2,%cc
	or.b	&~ 1, %d0
	cmp.l	%d0,&FLOORS
	movq	&1,%d0
	movp.w	(0,%a0),%d1
	addq.l	&4,%sp
	addl	&4,%sp
	bra.b	L%14
	bras	L%14
	blt	L%13	# again
L%14:
	jsr	stop%x#and out
	unlk	%fp
	rts#back
	nop	no operands, so that this is a comment
	long	L%12, L%13-L%12, (1 | 2) * 3
	short	1, 2 * 3, 1 << 4
	byte	'a', '\n', 0x1f, 017
	space	4 * 16
	asciz	"text with # marks"#and a comment
	data
	comm	buffer,64
	lcomm	counter, 4
table:	# a label and a comment
	long	main
	store	%d0,<a # b>,(c # d)	# a macro
	store	x,y#z
1:	bra	1b
#define TWICE(x) \
	x; \
	x
# define is no word here
global	main
set	FOUR,4
L%15	movs.l	%d0,(%a0)
	jbra	L%15
