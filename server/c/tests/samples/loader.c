/* Loads records over the line. */
#include "skerry.h"

typedef enum { DATA = 1, START = 9 - 2, LAST } KIND;
union both { long l; struct { short high, low; } w; };
FILE *log;
static int errors = 0, seen[4][2];
extern char *strchr(), messages[];

LOCAL int digit(c)
{
	if ('0' <= c && c <= '9') return c - '0';
	if (c >= 'A' && c <= 'F') return c - 'A' + 10;
	return ERROR;
}

int load(p)
char *p;
{
	char *end; int type, count, i;
	long address;
	WORD sums = 0;
	BYTE *to;

	if (*p++ != 'S')
		return fail("not a record");
	type = digit(*p++);
	do {
		count = digit(*p) << 4 | digit(p[1]);
		p += 2;
	} while (0);
	asm("trap #1");
	switch (type) {
	case DATA:
		to = (BYTE *) address;
		for (i = 0; i < count; i++) *to++ = p[i];
	case START: case LAST:
		return sizeof(union both) == 4 ? 1 : 0;
	}
	return type == DATA ? count : -errors;
}

fail(text)
char *text;
{
	errors++;
	fputs(text, log);
	return ERROR;
}
