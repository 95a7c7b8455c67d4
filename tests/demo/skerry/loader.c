/*
 *	loader.c	Skerry 12 service monitor: disk driver and loader
 *
 *	Everything returns an error number, or 0.
 *
 *	12 Jun 86	goes by the block in the boot sector, not by the media
 *			byte: the yard has disks that the boot ROM refuses
 *	 3 Jul 86	STKROOM, after the long survey ate its own stack
 */

#include "service.h"

extern	ULONG	memtop;		/* first byte that is not good RAM */

/*	The disk, as mount() finds it */

unsigned spt, sides, total;	/* sectors on a track, sides, sectors */
unsigned clusize, lastclu;	/* sectors in a cluster, last cluster */
unsigned fatlen, nroot;		/* sectors in a FAT, entries in the root */
unsigned fatsec, dirsec, datsec;	/* where they begin */

/*	The file, as find() and nextsec() leave it */

ULONG	filelen;
static	unsigned clu, clunext, done;	/* done: sectors of the cluster */

/*
 *	Waits until the controller is done.  Status, or -1 if it never is:
 *	it counts turns of the disk, and without a disk there are none.
 */
static fdwait()
{
	register long n;

	for (n = PATIENT; n > 0; n--)
		if ((FDREG(FDCMD) & BUSY) == 0)
			return FDREG(FDCMD);
	FDREG(FDCMD) = CMDSTOP;
	return -1;
}

static command(c)
	int c;
{
	FDREG(FDCMD) = c;
	settle();
	return fdwait();
}

/*	selects the drive and moves the head to track 0 */

static restore()
{
	PORT(DRVSEL) = 1;
	if (command(CMDREST) < 0)
		return S_DRIVE;
	return S_OK;
}

/*	one go at a sector; what is wrong does not matter here */

static goread(track, sector, to)
	int track, sector;
	register BYTE *to;
{
	register int n, status;

	if (FDREG(FDTRK) != track) {
		FDREG(FDDAT) = track;
		if (command(CMDSEEK) & ERRSTEP)
			return 1;
	}
	FDREG(FDSEC) = sector;
	FDREG(FDCMD) = CMDREAD;
	settle();
	for (n = SECSIZE; n > 0; n--) {		/* 256 clocks a byte */
		while (((status = FDREG(FDCMD)) & DRQ) == 0)
			if ((status & BUSY) == 0)
				return 1;
		*to++ = FDREG(FDDAT);
	}
	return fdwait() & ERRREAD;
}

/*	rdsec(n, to)	sector n, counted from 0 over the whole disk */

rdsec(n, to)
	unsigned n;
	BYTE *to;
{
	register int tries;
	unsigned track;

	if (n >= total)
		return S_NOSEC;
	track = n / spt;
	PORT(DRVSEL) = track % sides ? 3 : 1;
	track /= sides;
	for (tries = RETRIES; tries > 0; tries--) {
		if (goread(track, n % spt + 1, to) == 0)
			return S_OK;
		command(CMDREST);		/* and from track 0 again */
	}
	return S_READ;
}

/*	mount()		what disk is it? */

mount()
{
	register BYTE *b;
	register int e;

	if (e = restore())
		return e;
	spt = total = 1;			/* enough for the boot sector */
	sides = 1;
	if (e = rdsec(0, (BYTE *) SECBUF))
		return e;
	b = (BYTE *) SECBUF + BSBLOCK;
	spt = LEW(b + PBTRK);
	sides = LEW(b + PBSIDES);
	total = LEW(b + PBTOT);
	clusize = b[PBCLU];
	fatlen = LEW(b + PBFATLN);
	nroot = LEW(b + PBROOT);
	if (LEW(b) != SECSIZE || spt == 0 || sides == 0 || clusize == 0
	    || fatlen == 0 || fatlen > FATROOM || total / spt / sides > CYLS)
		return S_FORM;
	fatsec = LEW(b + PBRES);
	dirsec = fatsec + b[PBFATS] * fatlen;
	datsec = dirsec + nroot / (SECSIZE / DELEN);
	lastclu = (total - datsec) / clusize + 1;
	return S_OK;
}

/*	find(name)	looks a file up in the root directory */

static find(name)
	char *name;
{
	register BYTE *d;
	register int i;
	unsigned n;
	int e;

	for (n = 0; n < nroot; n++) {
		if (n % (SECSIZE / DELEN) == 0) {
			d = (BYTE *) SECBUF;
			if (e = rdsec(dirsec + n / (SECSIZE / DELEN), d))
				return e;
		}
		if (*d == 0)			/* never used: the end */
			break;
		for (i = 0; i < 11 && d[i] == name[i]; i++)
			;
		if (i == 11) {
			clunext = LEW(d + DECLUS);
			filelen = LEL(d + DEBYTES);
			done = clusize;		/* begin with a cluster */
			return S_OK;
		}
		d += DELEN;
	}
	return S_FILE;
}

static getfat()
{
	register unsigned n;
	register BYTE *to;
	int e;

	to = (BYTE *) FATBUF;
	for (n = 0; n < fatlen; n++) {
		if (e = rdsec(fatsec + n, to))
			return e;
		to += SECSIZE;
	}
	return S_OK;
}

/*	nextsec()	the next sector of the file, to SECBUF */

static nextsec()
{
	register BYTE *f;

	if (done == clusize) {
		clu = clunext;
		if (clu < 2 || clu > lastclu)
			return S_CHAIN;
		f = (BYTE *) FATBUF + clu + (clu >> 1);	/* 12 bits each */
		clunext = LEW(f);
		if (clu & 1)
			clunext >>= 4;
		else
			clunext &= 0xFFF;
		done = 0;
	}
	return rdsec(datsec + (clu - 2) * clusize + done++, (BYTE *) SECBUF);
}

/*
 *	load(at)	loads the boot file and says where it has to be entered.
 *	Nothing is written above the buffers before the header is good.
 */
load(at)
	ULONG *at;
{
	struct abshead h;
	register BYTE *from, *to;
	register int room;
	register ULONG n;
	int e;

	if (e = mount())
		return e;
	if (e = find(BOOTNAM))
		return e;
	if (e = getfat())
		return e;
	if (e = nextsec())
		return e;
	h = *(struct abshead *) SECBUF;
	if (h.magic != ABSMAGC)
		return S_MAGIC;
	if (h.fixed == 0)
		return S_RELOC;
	if (ABSHEAD + h.text + h.data + h.symbols != filelen)
		return S_SIZES;
	if (h.load & 1)
		return S_ODD;
	if (h.load < LOADAD || h.load >= RAMEND)
		return S_PLACE;
	if (h.load + h.text + h.data + h.bss > memtop - STKROOM)
		return S_ROOM;

	to = (BYTE *) h.load;
	from = (BYTE *) SECBUF + ABSHEAD;
	room = SECSIZE - ABSHEAD;
	for (n = h.text + h.data; n > 0; n--) {
		if (room == 0) {
			if (e = nextsec())
				return e;
			from = (BYTE *) SECBUF;
			room = SECSIZE;
		}
		*to++ = *from++;
		room--;
	}
	for (n = h.bss; n > 0; n--)
		*to++ = 0;
	*at = h.load;
	return S_OK;
}
