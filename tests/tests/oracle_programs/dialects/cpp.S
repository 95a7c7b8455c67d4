/*
 * Tide recorder of a harbour, host board: through the C preprocessor.
 */
#include "cpp.h"
#ifndef SLOTS
# define SLOTS 4
#endif
#define PASTE(a, b)	a##b
#define NAME(x)		PASTE(_, x)
#define ENTRY(x)	.even; NAME(x):
#define HERE(x)	NAME(x):
#define PUSH(x)		move.l	x, -(sp)
#define POP(x)		move.l	(sp)+, x
#define CALL(x)		jsr	NAME(x)
#define SAMPLE_HEIGHT	2
#define SAMPLE_FLAGS	(SAMPLE_HEIGHT + 2)
#define SAMPLE_LEN	(SAMPLE_FLAGS + 2)
#define FLAG(n)		(1 << (n))
#define MIN(a, b)	(((a) < (b)) * -(a) + ((a) >= (b)) * -(b))
#define LONG_ONE \
	move.l	d0, \
		d1
#define EMPTY
#define NOTHING()
#undef EMPTY

#if defined(HOST) && HOST_VERSION >= 2
#define RATE	(BASE_RATE * 2)
#elif defined(HOST)
#define RATE	BASE_RATE
#else
#error "no host"
#endif

	.text
	.even
ENTRY(start)
	move.w	#0x2700, sr
	move.l	#NAME(stack), sp
	moveq	#0, d0
	PUSH(d0)
	PUSH(#0x12345)
	POP(d1)
	POP(d2)		/* in order */
	CALL(sample)
	CALL(store)	// the other kind
	LONG_ONE
	move.w	#SAMPLE_LEN, d0
	move.w	SAMPLE_FLAGS(a0), d1
	move.w	SAMPLE_HEIGHT(a0,d0.w), d1
	move.w	#FLAG(3) + FLAG(1), d2
	move.w	#RATE, d3
	move.w	#LINES / 2, d3
#if SLOTS > 2
	move.w	#SLOTS, d4
#else
	move.w	#-SLOTS, d4
#endif
#ifdef HOST
	nop
#ifdef GUEST
	trap	#1
#else /* !GUEST */
	trap	#2
#endif /* GUEST */
#endif
#if 0
	this is no line at all, "and" (so on
#endif
#if HOST_VERSION == 1 || (SLOTS & 4)
	trap	#3
#endif
#if !defined(GUEST) && !(SLOTS % 2)
	trap	#4
#endif
#ifndef HOST
	trap	#5
#elif SLOTS == 4
	trap	#6
#elif SLOTS == 4
	trap	#7
#else
	trap	#8
#endif
	NOTHING()
	jra	NAME(start)

ENTRY(sample)
1:	btst	#READY_BIT, HOST_STATUS
	jeq	1b
	move.b	HOST_DATA, d0
	cmp.b	#'#', d0
	jne	2f
	moveq	#-1, d0
2:	ext.w	d0
	rts

HERE(store)
	lea	NAME(heights), a0
	mulu	#SAMPLE_LEN, d1
	adda.l	d1, a0
	move.w	d0, SAMPLE_HEIGHT(a0)
	addq.w	#1, NAME(count)
	rts

#define REGS		d2-d4/a2
#define SAVE		movem.l	REGS, -(sp)
#define RESTORE		movem.l	(sp)+, REGS
ENTRY(report)
	SAVE
	lea	NAME(text), a2
1:	move.b	(a2)+, d0
	jeq	2f
	CALL(put)
	jra	1b
2:	RESTORE
	rts
HERE(put)
	btst	#BUSY_BIT, HOST_STATUS
	jne	NAME(put)
	move.b	d0, HOST_DATA
	rts

	.macro	delay count
	move.w	#\count, d7
3:	dbra	d7, 3b
	.endm
	delay	SLOTS
	delay	FLAG(5)
	.rept	SLOTS
	move.l	(a0)+, (a1)+
	.endr
	.if	SLOTS == 4
	.byte	1
	.else
	.byte	2
	.endif
	.even

| Every mode once more, with C numbers.
HERE(modes)
	move.w	(a0), d0
	move.w	(a0)+, d0
	move.w	-(a0), d0
	move.w	0x10(a0), d0
	move.w	-0x10(a0,d1.l), d0
	move.w	0x4000.w, d0
	move.w	HOST_DATA, d0
	move.w	NAME(text)(pc), d0
	move.w	1f(pc,d0.w), d0
1:	move.w	#0177, d0
	move.w	#0b11, d0
	move.b	#'\'', d0
	add.l	#70000, d0
	add.w	d0, (a0)
	addx.l	d0, d1
	sub.w	#300, d0
	subx.b	-(a0), -(a1)
	and.w	#0xf0, d0
	or.b	#1, (a0)
	eor.l	d0, d1
	not.w	d0
	neg.l	d0
	clr.w	(a0)
	tst.b	(a0)+
	cmp.w	(a0)+, d0
	cmpm.w	(a0)+, (a1)+
	lsl.w	#3, d0
	asr.l	d1, d0
	roxl.w	(a0)
	muls.w	#10, d0
	divu.w	d1, d0
	exg	d0, a0
	swap	d0
	ext.l	d0
	link	a6, #-4
	unlk	a6
	bset	#3, (a0)
	bclr	d0, d1
	movep.w	d0, 2(a0)
	st	d0
	dbne	d0, 1b
	chk	d1, d0
	tas	(a0)
	trapv
	rtr

#define ROW(a, b, c)	.word a, b, (c)
#define STR(x)		#x
#define VERSION_TEXT	STR(tide)
HERE(table)
	ROW(1, 2, 3)
	ROW(SAMPLE_LEN, FLAG(2), RATE - 1)
	ROW(SLOTS + 1, 5, (1 + 2))
	.long	NAME(start), NAME(text), NAME(table) + 4
HERE(text)
	.ascii	"NAME(x) and SLOTS stay /* here */\n"
	.ascii	VERSION_TEXT
	.asciz	"end"
	.even
#include "cpp.h"
	.data
HERE(count)
	.word	0
HERE(heights)
	.space	SLOTS*SAMPLE_LEN
	.bss
	.space	64
HERE(stack)
	.space	4
