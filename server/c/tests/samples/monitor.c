/* Monitor of the Skerry 12: one letter a command. */
#include <stdio.h>
#include "skerry.h"

#define MAXLINE 80
#if MAXLINE > 100 && !defined(SKERRY)
It doesn't matter what stands here.
#else
LOCAL char line[MAXLINE + 1];
#endif
static quiet;

VOID monitor()
BEGIN
	register char *p;
	int c;

	puts(PROMPT " ready\r\n");
	FOREVER {
		printf("%s> ", PROMPT);
		p = getline(line, MAXLINE);
		if (p == NULL)
			continue;
again:
		switch (c = *p++) {
		case 'd':
		case 'D':
			dump(p);
			break;
		case 'q':
			quiet =+ 1;
		case CTRL('C'):
			return;
		case 0: {
			int n;
			for (n = 0; n < 3; n++)
				UART->rate[n] = 0;
			break;
		}
		default:
			if (c == ' ' || c == '\t')
				goto again;
			else
				error(1, c);
		}
	}
END

/* Tell of an error by its number. */
error(number, c)
int number;
char c;
{
	printf("E%02d: '%c'\n\
", number, c);
	return (ERROR);
}

unsigned
sum(start, count)
	char *start;
	long count;
{
	unsigned total = 0;

	while (count-- > 0)
		total =+ *start++ & 0377;
#asm
	move.w	d0,_total
	jsr	_flush
#endasm
	return total;
}
