| weir.s: gate controller of a tidal weir.  ROM at 0, RAM at $400000.
| The console is channel A of a Z8530, the disk a CP/M one of 8 inches.

SCCA	= 0xd00002		| control, data is 4 above
GATES	= 0xd10000		| bit 7 somebody at the switch, bit 0 service
HDC	= 0xd20000		| disk processor: command byte, then a block of 128
PARK	= 0x410000		| where the night program lives
WORKSP	= 0x400400
LINE	= WORKSP+0x20
BLOCK	= WORKSP+0x80
NBLOCKS	= 96			| blocks of 128 bytes, 12 K

	.text
	.globl	_go
	.long	0x4ffffc
	.long	_go
	.space	0x400-8

_go:	movew	#0x2700,sr
	moveb	#0,GATES+1
	lea	scctab,a0
1:	moveb	a0@+,d0
	beqs	2f
	moveb	d0,SCCA
	bras	1b
2:	pea	hello
	jsr	print
	addql	#4,sp
	btst	#0,GATES
	bnes	prompt		| service switch: stay here
	btst	#7,GATES
	beqs	night
	jmp	prompt

| The night program: look for it, load it, try it, run it

night:	lea	pgmname,a0
	bsrw	lookup
	tstw	d0
	bmis	nofile
	lea	PARK,a1
	movew	#NBLOCKS-1,d2
more:	bsrw	getblk
	bnes	badblk
	dbf	d2,more
	cmpw	#0x601b,PARK
	bnes	nomagic
	moveal	PARK+22,a0
	cmpal	#PARK,a0
	bcss	nospace
	jmp	PARK+36

nofile:	movel	#nofil,sp@-
	bras	say
badblk:	movel	#nodat,sp@-
	bras	say
nomagic: movel	#nopgm,sp@-
	bras	say
nospace: movel	#noroom,sp@-
say:	jsr	print
	addql	#4,sp

| The prompt: one letter a command

prompt:	lea	0x4ffffc,sp
	pea	ready
	jsr	print
	addql	#4,sp
	bsrw	key
	lea	letters,a2
4:	tstw	a2@
	beqs	prompt
	cmpw	a2@+,d0
	beqs	5f
	addqw	#8,a2
	bras	4b
5:	moveal	a2@,a3
	jsr	a3@
	bras	prompt

do_gate: moveb	#1,GATES+1
	rts
do_shut: moveb	#0,GATES+1
	rts
do_list: lea	letters,a4
6:	tstw	a4@+
	beqs	7f
	addql	#4,a4
	movel	a4@+,sp@-
	jsr	print
	addql	#4,sp
	bras	6b
7:	rts

| lookup: a0 = name; d0 = its entry or -1.  getblk: the next block to a1.

lookup:	moveb	#1,HDC
	moveq	#10,d1
letter:	moveb	a0@+,HDC+2
	dbf	d1,letter
	movew	HDC+4,d0
	rts
getblk:	moveb	#2,HDC
	moveq	#31,d1
four:	movel	HDC+8,a1@+
	dbf	d1,four
	tstb	HDC+1
	rts

key:	btst	#0,SCCA
	beqs	key
	moveq	#0,d0
	moveb	SCCA+4,d0
	rts
print:	moveal	sp@(4),a0
10:	moveb	a0@+,d0
	beqs	12f
11:	btst	#2,SCCA
	beqs	11b
	moveb	d0,SCCA+4
	bras	10b
12:	rts

	.even
letters: .word	'G
	.long	do_gate,h_gate
	.word	'S
	.long	do_shut,h_shut
	.word	'N
	.long	night,h_night
	.word	'?
	.long	do_list,h_list
	.word	0

| 8 inch, single density, 26 sectors, 243 blocks of 1 K: disk parameter block

dpb:	.word	26
	.byte	3,7
	.byte	0,0
	.word	242,63
	.byte	0xc0,0
	.word	16,2

| Z8530, channel A: register and value, a zero ends it

scctab:	.byte	4,0x44,3,0xc1,5,0xea,11,0x50,12,10,13,0,14,1,0
pgmname: .ascii	"NIGHT   SYS"
hello:	.asciz	"\r\nWEIR 3 gate controller\r\n"
ready:	.asciz	"\r\n# "
nofil:	.asciz	"\r\nno NIGHT.SYS, gates stay shut"
nodat:	.asciz	"\r\ndisk data lost"
nopgm:	.asciz	"\r\nNIGHT.SYS is not a program"
noroom:	.asciz	"\r\nNIGHT.SYS does not fit"
h_gate:	.asciz	"\r\nG open the gates"
h_shut:	.asciz	"\r\nS shut them"
h_night: .asciz	"\r\nN run the night program"
h_list:	.asciz	"\r\n? this list"
	.even
