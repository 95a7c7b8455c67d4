*
*	SERVICE.S	Skerry 12 tide recorder: service at the quay, own ROM
*
*	Looks after a recorder that has hung over the winter: frees the
*	float, rinses the pen, reads the switches behind the panel and
*	writes what it found onto the chart.  Plugs into the second pair of
*	sockets.
*

SVLAMPS	EQU	$F50001		lamps
SVKEYS	EQU	$F30001		panel, bit 7 key down
SVSWIT	EQU	$F30005		switches, eight of them
SVPEN	EQU	$F40001		pen position
SVBOOT	EQU	$000405		back to the boot ROM
SVROWS	EQU	9
SVFREE	EQU	200		steps to free the float

*	a row of the test pattern, then the next one the other way round

SVROW	MACRO
	dc.b	\1,\2
	SVROW	\2,\1
	ENDM

	org	$24000

service	move	#$2700,sr
	moveq	#0,d0
	movec	d0,vbr		vectors as at reset
	lea	SVLAMPS,a0
	move.b	#3,(a0)
	clr.l	a3		nothing found yet
	bsr.w	float
	bsr.w	rinse
	move.w	SVSWIT,d1	all eight switches
	btst	#9,SVKEYS	somebody at the panel?
	beq.s	svout
	cmp.b	#SVROWS d1
	bcs.s	sv1
sv1	move.b	d1,SVPEN
	bsr.w	report
	bne.l	service
	jmp	SVBOOT

*	float		up and down, till the gear is free

float	moveq	#SVFREE,d7
fl1	move.b	d7,SVPEN
	move.w	#5000,d6
fl2	dbra	d6,fl2
	addq.w	#1,d5		turns so far
	dbra	d7,fl1
	rts

*	rinse		pen to the basin and back

rinse	clr.b	SVPEN
	move.l	#100000,d0
ri1	subq.l	#1,d0
	bne.s	ri1
	move.b	#255,SVPEN
	rts

*	svout		nobody there: lamps off and again

svout	clr.b	SVLAMPS
	andi	#$DFFF,sr	as the recorder's programs run
	reset
	bra.w	service

*	report		the text for d0, letter by letter

report	lea	svtexts(pc),a1
rp1	move.b	(a1)+,d2
	beq.s	svdone
	cmp.b	d0,d2
	bne.s	rp1
	move.b	(a1)+,SVPEN
	bra.s	rp1

svtexts	dc.b	1,'FLOAT STUCK, GEAR WILL NOT TURN',13,10
	dc.b	2,'PEN DRY, RINSE AGAIN',13,10
	dc.b	3,'SWITCHES NOT AS IN THE BOOK',13,10
	dc.b	4,'SERVICE DONE, NEXT ONE IN SPRING',13,10,0
	even
svdone	moveq	#0,d0
	rts

*	The name of the module, and the end of the interrupts of its clock

svname	dc.b	'TIDES'
svtick	rte
	even

*	Room for the counts, 64 bytes, and behind it how far to free

svpage	dc.b	'SERVICE '
	dcb.b	56,0
svlast	dc.w	SVFREE

*	The page has to end on 64 bytes

	ifne	SVFREE-64
	fail	the page is too long
	endc

*	Test pattern

svpat	SVROW	$55,$AA
	even

	end
