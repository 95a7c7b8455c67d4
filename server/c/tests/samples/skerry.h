/* Skerry 12 tide recorder: what all parts of the firmware know. */
#ifndef SKERRY
#define SKERRY 1
#define VOID	int
#define LOCAL	static
#define BYTE	unsigned char
#define WORD	unsigned short
#define BEGIN	{
#define END	}
#define FOREVER	for (;;)
#define RAM	0x400000L
#define IOBASE	RAM + 0x80000
#define MODE	(*(BYTE *) (IOBASE + 1))
#define CTRL(c)	((c) & 31)
#define ERROR	(-1)
#define PROMPT	"tide"

struct port {
	BYTE	mode;
	BYTE	fill;
	BYTE	status;
	BYTE	rate[3];
	WORD	divisor;
	char	*name;
};
#define UART	((struct port *) 0xFFC001)

typedef int (*HANDLER)();
struct command {
	char	letter;
	HANDLER	action;
	char	*help;
};
extern int dump(), fill(), load();
extern struct command commands[];
#endif
