#include "skerry.h"
#define ENTRY(l, f, h)	{ l, f, h }
#define PAIR(a)	a, a + 1
#define MHZ 4 + 4

struct command commands[] = {
	ENTRY('d', dump, "dump memory"),
	ENTRY(CTRL('F'), fill, PROMPT),
	{ 0 }
};
short rates[] = { 300, 1200, 9600, MHZ * 2, PAIR(MHZ), };
char *messages[] = {
	"no error", "bad "
	"checksum", 0 };
char crlf[4] = "\r\n", bell[] = { 7, '\007', "x"[0] };
int matrix[2][3] = { 1, 2, 3, { 4, 5 } };
struct port console = { 0x13, 0, 1, 1, 2, 3, 9600, "console" };
long base = RAM, *where = &base;
