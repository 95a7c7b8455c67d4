*
*	A monitor: commands of one letter, hexadecimal numbers, a table made
*	by a macro.
*
CR	EQU	13
LF	EQU	10
BS	EQU	8
LINE	EQU	80

*	entry: letter, routine, help

CMD	MACRO
	dc.b	'\1',0
	dc.w	\2-cmds
	dc.w	help\@-cmds
	bra.s	over\@
help\@	dc.b	'\3',0
	even
over\@	EQU	*
	ENDM

monitor	lea	stack,sp
	lea	hello,a0
	bsr	print
again	bsr	getline
	lea	line,a0
	bsr	skip
	beq	again
	cmp.b	#'a',d0
	bcs	mn1
	sub.b	#'a'-'A',d0
mn1	lea	cmds,a2
	lea	index,a1
mn2	move.w	(a1)+,d1
	beq	what
	lea	(a2,d1.w),a3
	cmp.b	(a3),d0
	bne	mn2
	addq.l	#1,a0
	move.w	2(a3),d1
	jsr	(a2,d1.w)
	bra	again
what	lea	huh,a0
	bsr	print
	bra	again

cmds
c1	CMD	D,dump,<D addr shows memory>
c2	CMD	G,go,<G addr goes there>
c3	CMD	M,modify,<M addr byte changes memory>
c4	CMD	?,help,<? this text>
index	dc.w	c1-cmds,c2-cmds,c3-cmds,c4-cmds,0

dump	bsr	hexin
	move.l	d1,a4
	moveq	#15,d7
du1	move.b	(a4)+,d0
	bsr	hexout
	dbra	d7,du1
	bra	newline
go	bsr	hexin
	move.l	d1,-(sp)
	rts
modify	bsr	hexin
	move.l	d1,a4
	bsr	hexin
	move.b	d1,(a4)
	rts
help	lea	index,a5
hl1	move.w	(a5)+,d1
	beq	newline
	lea	cmds,a0
	add.w	4(a0,d1.w),a0
	bsr	print
	bra	hl1

*	hexin		a number at a0 into d1

hexin	moveq	#0,d1
	bsr	skip
hx1	move.b	(a0)+,d0
	sub.b	#'0',d0
	bcs	hx9
	cmp.b	#10,d0
	bcs	hx2
	sub.b	#7,d0
	cmp.b	#16,d0
	bcc	hx9
hx2	lsl.l	#4,d1
	or.b	d0,d1
	bra	hx1
hx9	subq.l	#1,a0
	rts
hexout	move.w	d0,-(sp)
	lsr.b	#4,d0
	bsr	nibble
	move.w	(sp)+,d0
nibble	and.w	#15,d0
	move.b	digits(pc,d0.w),d0
	bra	putch
digits	dc.b	'0123456789ABCDEF'
skip	move.b	(a0)+,d0
	cmp.b	#' ',d0
	beq	skip
	subq.l	#1,a0
	tst.b	d0
	rts
newline	moveq	#CR,d0
	bsr	putch
	moveq	#LF,d0
putch	move.b	d0,$FF0003
	rts
getline	lea	line,a0
	moveq	#LINE-2,d6
gl1	move.b	$FF0001,d0
	cmp.b	#CR,d0
	beq	gl9
	cmp.b	#BS,d0
	beq	getline
	move.b	d0,(a0)+
	dbra	d6,gl1
gl9	clr.b	(a0)
	rts
print	move.b	(a0)+,d0
	beq	pr9
	bsr	putch
	bra	print
pr9	rts
same	cmpm.b	(a0)+,(a1)+
	dbne	d0,same
	rts
hello	dc.b	CR,LF,'ready',0
huh	dc.b	'what''s that?',0
	even
line	ds.b	LINE
	ds.l	64
stack	dc.w	0
	end
