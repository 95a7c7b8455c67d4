/*
 *	service.h	Skerry 12 service monitor: addresses, ports, errors
 *
 *	Names that SKERRY.I has too have the same values there.
 */

#define BYTE	unsigned char
#define ULONG	unsigned long

/*	Memory */

#define RAMBASE	0x080000L
#define RAMSIZE	0x080000L
#define RAMEND	(RAMBASE + RAMSIZE)
#define SECBUF	(RAMBASE + 0x200)	/* the boot ROM's buffers: it is */
#define FATBUF	(RAMBASE + 0x400)	/* done with them when we run */
#define FATROOM	12			/* sectors that fit there */
#define LOADAD	(RAMBASE + 0x4000)	/* programs go here or above */
#define STKROOM	0x1000L			/* keep that much for the stack */

/*	Ports.  Odd addresses, all of them. */

#define PORT(a)	(*(BYTE *) (a))

#define FDC	0xF10001L	/* WD1772 */
#define FDCMD	0		/* command (write), status (read) */
#define FDTRK	2
#define FDSEC	4
#define FDDAT	6
#define FDREG(r) PORT(FDC + (r))

#define DRVSEL	0xF20001L	/* bit 0 select, bit 1 side */
#define PANEL	0xF30001L
#define LAMPS	0xF30003L
#define CHART	0xF40001L

#define READY	1		/* lamps */
#define FAULT	2

#define KEYDOWN	0x80		/* panel: a key is down, and which */
#define KEYBITS	0x0F
#define KEYFEED	0xA
#define KEYTIDE	0xB
#define KEYROM	0xC
#define KEYHOLD	0xD

/*	WD1772 */

#define CMDREST	0x04
#define CMDSEEK	0x14
#define CMDREAD	0x84
#define CMDSTOP	0xD0
#define BUSY	0x01		/* status */
#define DRQ	0x02
#define ERRREAD	0x1C		/* bad after a read, */
#define ERRSTEP	0x18		/* after a step */

#define RETRIES	5		/* goes at a sector */
#define PATIENT	200000L		/* looks at the status: some seconds */

/*	Disk.  Low byte first, at any address. */

#define SECSIZE	512
#define CYLS	80

#define LEW(p)	((p)[0] | (p)[1] << 8)
#define LEL(p)	((ULONG) (unsigned) LEW(p) | (ULONG) (unsigned) LEW(p + 2) << 16)

#define BSBLOCK	11		/* parameter block in the boot sector */
#define PBCLU	2
#define PBRES	3
#define PBFATS	5
#define PBROOT	6
#define PBTOT	8
#define PBFATLN	11
#define PBTRK	13
#define PBSIDES	15

#define DECLUS	26		/* directory entry */
#define DEBYTES	28
#define DELEN	32

/*	The boot file: name and type as in the directory */

#define BOOTNAM	"SURVEY  ABS"
#define ABSMAGC	0x601A
#define ABSHEAD	28

struct abshead {
	int	magic;
	ULONG	text, data, bss, symbols;
	ULONG	spare;
	ULONG	load;		/* where text goes, and the entry */
	int	fixed;		/* not 0: no relocation words behind */
};

/*	Console */

#define LINELEN	72
#define BS	8
#define CR	13
#define DEL	127

/*	Errors, index of errtxt in service.c */

enum {
	S_OK,
	S_DRIVE, S_READ, S_NOSEC, S_FORM, S_FILE, S_CHAIN,
	S_MAGIC, S_RELOC, S_SIZES, S_ODD, S_PLACE, S_ROOM,
	S_WORD, S_HEX, S_NUMS, S_NORAM
};
