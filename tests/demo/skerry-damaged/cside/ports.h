/*
 *	ports.h		test stand for the float: ports, as in PORTS.I
 */

#define BELL	0xC10009L
#define METER	0xC1000BL
#define VALVE	0xC1000DL
#define MOTOR	0xC1000FL
