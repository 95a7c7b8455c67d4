| Numbers as text, in the dotted style: macros with names, conditions,
| and registers without marks.
	.text
	.equ	WIDTH, 8
	.equ	DEBUG, 1

	.macro	push	what
	move.l	\what,-(sp)
	.endm
	.macro	pop	what
	move.l	(sp)+,\what
	.endm
	.macro	call	routine, first, second
	push	\second
	push	\first
	jbsr	\routine
	addq.l	#8,sp
	.endm
	.macro	digit	reg, to
	add.b	#'0',\reg
	cmp.b	#'9',\reg
	jls	digit_\@
	addq.b	#7,\reg
digit_\@:
	move.b	\reg,\to
	.endm

hex:	link	a6,#-WIDTH-4
	movem.l	d2-d4/a2,-(sp)
	move.l	8(a6),d2
	lea	-WIDTH(a6),a2
	moveq	#WIDTH-1,d3
1:	rol.l	#4,d2
	moveq	#0xF,d4
	and.b	d2,d4
	digit	d4,(a2)+
	dbra	d3,1b
	clr.b	(a2)
	movem.l	(sp)+,d2-d4/a2
	unlk	a6
	rts

decimal: move.l	d1,-(sp)
	moveq	#0,d1
1:	cmp.w	#10,d0
	jcs	2f
	divu	#10,d0
	swap	d0
	digit	d0,-(a0)
	clr.w	d0
	swap	d0
	jra	1b
2:	digit	d0,-(a0)
	pop	d1
	rts

main:	call	hex, #0x1234, #buffer
	call	hex, d0, d1
	.if	DEBUG
	lea	(4,a0),a1
	lea	(8,a0,d0.w),a1
	.else
	nop
	.endif
	.if	DEBUG-1
	illegal
	.endif
	lea	(table,pc),a0
	move.w	(table,pc,d0.w),d1
	move.l	table(pc),d2
	tst.w	(0x4000).w
	tst.w	(0x4000).l
	move.w	0x4000,d0
	move.w	0x8000,d0
	pea	table
	bne	main
	jne	main
	jra	main

table:	.word	hex-table, decimal-table, main-table
	.long	hex
	.byte	WIDTH/2+1*2
	.even
buffer:	.space	12
	.dc.w	1, 2
	.dc.b	3
	.even
	.dcb.w	3, 0x55
	.ds.l	2
	.long	.
	.long	.-table
last:	rts
	.end
