| A made-up controller's firmware in the dotted style: nothing here runs anywhere.
# 1 "controller.s"
#include "defs.h"
/* A comment
   over several
   lines. */
// And one more.
* A star in column one.
; A semicolon.

RAMTOP = 0x80000
STACK	= RAMTOP - 4
UART == 0xff0001
	.equ	USTAT, UART + 2
	.set	CLOCK, 8000000
	.set	DIVIDER, CLOCK / (16 * 9600)
name:	.equ	5
	.globl	_start, _putc
	.global	_getc
	.extern	_table
	.comm	_buffer, 64
	.lcomm	counter,4

	.text
	.even
	.align	2
	.section .rodata, "a", @progbits
	.type	_putc, @function
	.size	_putc, . - _putc
	.file	"controller.s"
	.include "more.s"
	.incbin	"font.bin"

_vectors:
	.long	STACK, _start
	.long	_fault,_fault,_fault
	.word	1 + 2 * 3
	.word	1 + 2*3, 4 - 1, 8 / 2, 1 << 4, 255 & ~ 3
	.word	( 1 | 2 ) , (3 * 4), [5 + 6]
	.word	a|b, a^b, a!b, !c
	.word	. - _vectors, *
	.byte	017, 0b101, 0x1F, 10
	.byte	'a', 'b', '\n', '\''
	.ascii	"text with | marks; and \"quotes\"\n"
	.asciz	"end", "more"
	.string	"last"
	.float	1.5
	.space	16
	.skip	4
	.dc.b	1,2,3
	.dc.w	4
	.ds.l	2
	.dcb.w	4, 0
	.fill	3, 2, 0
	.org	0x400

_start:	move.w	#0x2700, %sr		| no interrupts
	lea	STACK, %sp
	lea	_vectors(%pc), %a0
	lea	(_table,%pc,%d0.l), %a1
	lea	_table(pc,d0.w), a2
	move.l	4(a0), d0
	move.l	( 4, a0 ), d0		/* in brackets */
	move.l	4( a0, d1.l ), d0
	move.l	(a0)+, d0 | take one
	move.l	(a0)+ | and lose it
	move.l	-(a0), d0		// back
	move.w	# 5, d0
	move.b	#'x', (a0)
	move.b	USTAT, d0
	move.l	_counter+4, d0 | the second
	move.l	_counter + 4, d0
	movem.l	d0-d3/a0, -(sp)
	movem.l	%d0-%d7/%a0-%a6, -(%sp)
	movem.l	(%sp)+, %d0-%d7/%a0-%a6
	move	%usp, %a0
	move.l	%fp, %sp
	ori	#4, ccr
	moveq	#-1, d0
	addq.w	#8, a0
	cmpm.b	(a0)+, (a1)+
	asl.w	(a0)
	mulu	d0,d1
	tas	flag
	trap	#15
	link	%fp, #-16
	unlk	%fp
	rts
	nop | text
	rte // text
	reset

1:	btst	#7, USTAT
	beq	1b
	bne	2f
2:	jne	1b
	jbsr	_putc
	jra	_start
	jeq	2b
	dbra	d0, 1b; again
3$:	bra	3$
.L4:	bra.s	.L4
_putc:	move.b	d0, UART
	rts
_getc:rts

move.w	d0,d1
rts
.data
dc.b 1
	data:	.byte 2
text:	.byte 3
size:
line
end:	nop
dc.w:	nop
move:	nop

	.if	STACK == 4 && RAMTOP != 3
	.word	1
	.elseif	STACK >= 2
	.else	| otherwise
	.endif	| STACK
	.ifdef	DEBUG
	jbsr	dump
	.endc
	.ifeq	name - 5
	.endif
	.ifne	name
	.endc

	.macro	store from, to
	move.l	\from, \to
	move.l	(\from)+, d0
	move.l	(\from)+ | lost
	move.l	4(\to), d1
	.endm
	store	d0, a1
	store	#4, (a0, d0.w)
	store	<a | b>, c | text
	store	a + b, c
	store	"a, b", 'c'
	store.l	a+ b, -(a0) | text
	.rept	4
	nop
	.endr
	.irp	reg, d0, d1
	.endm

	.bss
flag:	.ds.b	1
	.even
_fault:	bra	_fault
again	tst.b	flag
	jbne	again
	.type	_fault, @function
	.cfi_endproc
save_regs d0/d1 | a macro
ENTRY (entry)
ENTRY(entry2)
if(DEBUG)
	.long(1 + 2) * 3, 4
	.endc
	.end
