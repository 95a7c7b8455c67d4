/*
 *	float.c		test stand for the float
 *
 *	Lifts the float by steps and reads it back.
 */

#include "ports.h"

#define STEPS	40		/* from the bottom to the top */
#define LIFT	0xC10001L	/* motor of the stand */

int	reading[STEPS];

/*	one step; the answer is where the float is now */

static step(up)
	int up;
{
	*(char *) LIFT = up ? 1 : 2;
	pause(20);
	return floatin();
}

main()
{
	register int n;

	for (n = 0; n < STEPS; n++)
		reading[n] = step(1);
	while (n-- > 0)
		step();
	lampson(1);
}
