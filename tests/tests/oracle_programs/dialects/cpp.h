#ifndef CPP_H
#define CPP_H
/* The host's port. */
#define HOST		1
#define HOST_VERSION	2
#define HOST_PORT	0xff9000
#define HOST_DATA	HOST_PORT + 1
#define HOST_STATUS	(HOST_PORT + 3)
#define READY_BIT	0
#define BUSY_BIT	(READY_BIT + 1)	// of the other side
#define BASE_RATE	300
#define LINES		24
#endif
