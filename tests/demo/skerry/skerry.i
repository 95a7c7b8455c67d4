*
*	SKERRY.I	Skerry 12 tide recorder: memory map and constants
*
*	Taken in by boot.s and service.s, before anything else.
*	Last change 3 Mar 86: key numbers moved here from the panel code.
*

*	Memory

ROMBASE	EQU	$000000		two 27C010, even and odd
ROMSIZE	EQU	$040000		256 K
ROMPROG	EQU	ROMSIZE/2	upper half: program in ROM, if fitted
RAMBASE	EQU	$080000
RAMSIZE	EQU	$080000		512 K
RAMEND	EQU	RAMBASE+RAMSIZE
STACK	EQU	RAMEND		grows down from the top

*	Ports.  All sit on the low half of the bus, hence the odd addresses.

DUART	EQU	$F00001		MC68681, 3.6864 MHz; mode registers here
SRA	EQU	2		status (read)
CSRA	EQU	2		clock select (write)
CRA	EQU	4		command
RXA	EQU	6		receiver (read)
TXA	EQU	6		transmitter (write)
ACR	EQU	8		rate set and counter source

FDC	EQU	$F10001		WD1772; command (write), status (read)
FDTRK	EQU	2		track
FDSEC	EQU	4		sector
FDDAT	EQU	6		data

DRVSEL	EQU	$F20001		drive latch: bit 0 select, bit 1 side
PANEL	EQU	$F30001		bit 7 key down, bits 3-0 key number
LAMPS	EQU	$F30003		panel lamps, bit 0 READY, bit 1 FAULT
CHART	EQU	$F40001		strip chart: pen position 0-255

*	WD1772 commands and status.  Stepping at 6 ms suits any drive.

CMDREST	EQU	$04		restore, verify
CMDSEEK	EQU	$14		seek, verify
CMDREAD	EQU	$84		read one sector, wait for the head
CMDWRIT	EQU	$A4		write one sector, the same
CMDSTOP	EQU	$D0		stop whatever is going on
STBUSY	EQU	0		bit numbers of the status
STDRQ	EQU	1
STLOST	EQU	2
STCRC	EQU	3
STRNF	EQU	4
STPROT	EQU	6
ERRREAD	EQU	$1C		bits that are bad after a read
ERRWRIT	EQU	$5C		and after a write
ERRSTEP	EQU	$18		after a step bit 2 only means track 0

*	The disk we format and ship: 720 K, entry boot_formats+38

CYLS	EQU	80		cylinders
HEADS	EQU	2		sides
SPT	EQU	9		sectors on a track
SECSIZE	EQU	512		bytes in a sector
RETRIES	EQU	5		goes at a sector before giving up

*	Parameter block, as on the disk: bytes packed, low byte first,
*	so words must be put together byte by byte (see LEWORD).

PBCLU	EQU	2		sectors in a cluster
PBRES	EQU	3		sectors before the first FAT
PBFATS	EQU	5		number of FATs
PBROOT	EQU	6		entries in the root directory
PBTOT	EQU	8		sectors on the disk
PBMEDIA	EQU	10		media byte
PBFATLN	EQU	11		sectors in one FAT
PBTRK	EQU	13		sectors on a track
PBSIDES	EQU	15		sides
FMTLEN	EQU	19		length of one block in boot_formats
BSBLOCK	EQU	11		where the block stands in a boot sector

*	Directory entry: starts with name and type, 11 bytes

DECLUS	EQU	26		first cluster, low byte first
DELEN	EQU	32		length of an entry

*	Header of a program: starts with the long word SK12

HDENTRY	EQU	4		entry, from the start of the header
HDBYTES	EQU	8		bytes after the header, even
HDSUM	EQU	12		sum of the words after the header
HDLEN	EQU	16

*	Working storage at the foot of RAM

MEMTOP	EQU	RAMBASE+$00	first byte that is not good RAM
FATLEN	EQU	RAMBASE+$04	sectors in one FAT
FATSEC	EQU	RAMBASE+$06	first sector of the FAT
DIRSEC	EQU	RAMBASE+$08	first sector of the root directory
DIRCNT	EQU	RAMBASE+$0A	entries in the root directory
DATASEC	EQU	RAMBASE+$0C	first sector of the data
CLUSIZE	EQU	RAMBASE+$0E	sectors in a cluster
TRKSECS	EQU	RAMBASE+$10	sectors on a track
SIDES	EQU	RAMBASE+$12	sides
LASTSEC	EQU	RAMBASE+$14	sectors on the disk
ARGS	EQU	RAMBASE+$18	numbers of a command, up to three
REGS	EQU	RAMBASE+$40	D0-D7/A0-A6 at the last exception
REGA7	EQU	RAMBASE+$7C	and behind them the stack,
REGPC	EQU	RAMBASE+$80	the program counter
REGSR	EQU	RAMBASE+$84	and the status
LINEBUF	EQU	RAMBASE+$100	what is being typed
LINELEN	EQU	72		characters that fit there
SECBUF	EQU	RAMBASE+$200	one sector
FATBUF	EQU	RAMBASE+$400	a whole FAT
FATROOM	EQU	12		sectors that fit there
LOADAD	EQU	RAMBASE+$4000	where the boot file goes

*	Keys held at reset, console bits

KEYFEED	EQU	$A		the program's: paper feed
KEYTIDE	EQU	$B		the program's: show the tide
KEYROM	EQU	$C		run the program in ROM
KEYHOLD	EQU	$D		stay at the prompt
RXRDY	EQU	0		status: a character has come
TXRDY	EQU	2		status: room for one more
BS	EQU	8
LF	EQU	10
CR	EQU	13
CAN	EQU	24		throws the line away, stops a list
DEL	EQU	127

*	Error numbers, index of errtab

ENOTRDY	EQU	1
ENOSECT	EQU	2
EBADCRC	EQU	3
ELATE	EQU	4
ENOFMT	EQU	5
ENOFILE	EQU	6
EBADFAT	EQU	7
EBADHDR	EQU	8
EBADSUM	EQU	9
ENOWORD	EQU	10
ENUMBER	EQU	11
EARGS	EQU	12
EODD	EQU	13
EOUTRAM	EQU	14
EPROT	EQU	15
EBUS	EQU	16
EADR	EQU	17
EILL	EQU	18
ETRAP	EQU	19
EINT	EQU	20

*	LEWORD place,register	low-byte-first word at place(A0)

LEWORD	MACRO
	MOVE.B	\1+1(A0),\2
	LSL.W	#8,\2
	MOVE.B	\1(A0),\2
	ENDM
