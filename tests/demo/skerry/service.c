/*
 *	service.c	Skerry 12 service monitor
 *
 *	For the bench and the boat.  Key C held at reset brings it up, or
 *	the word rom at the boot ROM's prompt.  The panel is looked at once
 *	more then: change to another key while the lamps are both on.
 *
 *		A	say what disk is in the drive
 *		B	boot at once
 *		C, D	stay at the prompt, as without a key
 *
 *	 9 May 86	first one that left the bench
 *	12 Jun 86	2.0: pen
 *	 3 Jul 86	2.1: loader in its own file
 */

#include "service.h"

#define HELLO	"\r\nSKERRY 12  service 2.1\r\n"
#define PROMPT	"\r\n+ "
#define MOSTARG	2

#define LOWER(c)	((c) | 0x20)
#define INRAM(a)	((a) >= RAMBASE && (a) < RAMEND)

ULONG	memtop;			/* start-up sets it */
ULONG	args[MOSTARG];		/* numbers of a command */
char	line[LINELEN + 1];

extern	unsigned spt, sides, total;

int	boot(), look(), alter(), sector(), drive(), pen(), again(), help();

struct command {
	char	*word;
	int	(*handler)();
	int	numbers;
	char	*help;
} commands[] = {
	{ "boot",	boot,	0,	"load SURVEY.ABS and run it" },
	{ "look",	look,	2,	"at count: show memory" },
	{ "alter",	alter,	2,	"at value: change a byte of RAM" },
	{ "sector",	sector,	1,	"number: show the start of a sector" },
	{ "drive",	drive,	0,	"say what disk is in the drive" },
	{ "pen",	pen,	1,	"position: move the pen, 0 to FF" },
	{ "again",	again,	0,	"start the machine again" },
	{ "help",	help,	0,	"this list" },
	{ 0 }
};

char *errtxt[] = {
	"",
	"S1 no disk turns in the drive",
	"S2 sector cannot be read",
	"S3 disk has no such sector",
	"S4 disk is not laid out as ours are",
	"S5 SURVEY.ABS is not on the disk",
	"S6 SURVEY.ABS: chain of clusters is broken",
	"S7 SURVEY.ABS is no program",
	"S8 SURVEY.ABS wants relocating",
	"S9 SURVEY.ABS: sizes do not add up",
	"S10 SURVEY.ABS: odd load address",
	"S11 SURVEY.ABS loads outside of RAM",
	"S12 SURVEY.ABS does not fit below the stack",
	"S13 no such word, try help",
	"S14 no hex number, or too large",
	"S15 wants more numbers, or fewer",
	"S16 no RAM there",
};

say(s)
	register char *s;
{
	while (*s)
		conout(*s++);
}

/*	hex digits of n, as many as asked for */

hexout(n, digits)
	ULONG n;
	register int digits;
{
	while (--digits >= 0)
		conout("0123456789ABCDEF"[(int) (n >> 4 * digits) & 15]);
}

decout(n)
	unsigned n;
{
	if (n > 9)
		decout(n / 10);
	conout(n % 10 + '0');
}

/*	bytes of memory, eight on a line; any key stops it */

dump(p, n)
	register BYTE *p;
	register ULONG n;
{
	register int i;

	while (n > 0) {
		say("\r\n");
		hexout((ULONG) p, 8);
		conout(' ');
		for (i = 0; i < 8 && n > 0; i++) {
			conout(' ');
			hexout((ULONG) *p++, 2);
			n--;
		}
		if (constat()) {
			conin();
			return;
		}
	}
}

/*	Commands.  Each returns an error number, or 0. */

boot()
{
	register int e;
	ULONG at;

	if (e = load(&at)) {
		PORT(LAMPS) = FAULT;
		return e;
	}
	PORT(LAMPS) = READY;
	runprog(at);
}

look()
{
	dump((BYTE *) args[0], args[1]);
	return S_OK;
}

alter()
{
	if (!INRAM(args[0]))
		return S_NORAM;
	if (args[1] > 0xFF)
		return S_HEX;
	*(BYTE *) args[0] = args[1];
	return S_OK;
}

sector()
{
	register int e;

	if (e = mount())
		return e;
	if (args[0] > 0xFFFF)		/* more than an int holds */
		return S_NOSEC;
	if (e = rdsec((unsigned) args[0], (BYTE *) SECBUF))
		return e;
	dump((BYTE *) SECBUF, 64L);
	return S_OK;
}

drive()
{
	register int e;

	if (e = mount())
		return e;
	say("\r\nsides ");
	decout(sides);
	say(", sectors ");
	decout(spt);
	say(" on a track, ");
	decout(total);
	say(" in all");
	return S_OK;
}

pen()
{
	if (args[0] > 0xFF)
		return S_HEX;
	PORT(CHART) = args[0];
	return S_OK;
}

again()
{
#asm
	move.w	#$2700,sr
#endasm
	restart();
}

help()
{
	register struct command *c;

	for (c = commands; c->word; c++) {
		say("\r\n");
		say(c->word);
		conout('\t');
		say(c->help);
	}
	return S_OK;
}

/*	getline()	takes a line from the console, without its CR */

getline()
{
	register int c, n;

	n = 0;
	while ((c = conin()) != CR)
		switch (c) {
		case BS:
		case DEL:
			if (n > 0) {
				n--;
				say("\b \b");
			}
			break;
		default:
			if (c >= ' ' && n < LINELEN) {
				line[n++] = c;
				conout(c);
			}
		}
	line[n] = 0;
}

/*	the hex number at p; gives where it ends, or 0 */

char *gethex(p, to)
	register char *p;
	ULONG *to;
{
	register int c, digits;

	*to = 0;
	for (digits = 0; (c = *p) && c != ' '; p++) {
		if (c >= '0' && c <= '9')
			c -= '0';
		else {
			c = LOWER(c) - 'a' + 10;
			if (c < 10 || c > 15)
				return 0;
		}
		if (++digits > 8)
			return 0;
		*to = *to << 4 | c;
	}
	return p;
}

/*	how many letters of p are this word; 0 if it is another */

match(word, p)
	register char *word, *p;
{
	register int n;

	for (n = 0; p[n] && p[n] != ' '; n++)
		if (LOWER(p[n]) != word[n])
			return 0;
	return word[n] ? 0 : n;
}

docmd(p)
	register char *p;
{
	register struct command *c;
	register int n;

	while (*p == ' ')
		p++;
	if (*p == 0)
		return S_OK;
	for (c = commands; c->word; c++)
		if (n = match(c->word, p))
			break;
	if (c->word == 0)
		return S_WORD;
	p += n;
	for (n = 0;; n++) {
		while (*p == ' ')
			p++;
		if (*p == 0)
			break;
		if (n == MOSTARG)
			return S_NUMS;
		if ((p = gethex(p, &args[n])) == 0)
			return S_HEX;
	}
	if (n != c->numbers)
		return S_NUMS;
	return (*c->handler)();
}

report(e)
	int e;
{
	if (e) {
		say("\r\n");
		say(errtxt[e]);
	}
}

main()
{
	register int key;

	PORT(LAMPS) = READY | FAULT;
	say(HELLO);
	key = PORT(PANEL);
	if (key & KEYDOWN)
		switch (key & KEYBITS) {
		case KEYFEED:
			report(drive());
			break;
		case KEYTIDE:
			report(boot());
			break;
		case KEYROM:		/* still held from reset */
		case KEYHOLD:
			break;
		}
	for (;;) {
		say(PROMPT);
		getline();
		report(docmd(line));
	}
}
