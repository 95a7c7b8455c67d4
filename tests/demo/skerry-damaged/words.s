*
*	WORDS.S		Skerry 12 tide recorder: disks of the desk machines
*
*	The harbour offices read our disks on desk machines, whose systems
*	ask the driver for nine words.  As their programmers sent them to
*	us, one bpb each, for the copy program.  Own ROM, not fitted yet.
*

*	bpb, two kilobytes a cluster as they like it
twokilo_bpb
	DC.W	512,2,2048,7,5,6,18,711,0

*	bpb, half-kilobyte records
halfkilo_bpb
	DC.W	500,2,1000,7,5,6,18,711,0

*	bpb, a few more records a cluster
threesec_bpb
	DC.W	512,3,1536,7,5,6,18,474,0

*	bpb of the word processor
noroot_bpb
	DC.W	512,2,1024,0,5,6,18,711,0

*	bpb of the address book, one record more for data
noboot_bpb
	DC.W	512,2,1024,7,5,5,17,711,0

*	bpb, room for a longer loader
loader_bpb
	DC.W	512,2,1024,7,5,8,20,710,0

*	bpb of the painting program
oneshort_bpb
	DC.W	512,2,1024,7,5,6,17,711,0

*	bpb, short tables for more data
tableless_bpb
	DC.W	512,2,1024,7,1,2,10,715,0

*	bpb of the big disks, each record by itself
manyclus_bpb
	DC.W	512,1,512,14,17,18,49,5711,0

*	bpb, wide entries from the start
wide_bpb
	DC.W	512,2,1024,7,5,6,18,711,1

*	bpb read from their ROM
romread_bpb
	DC.W	512,2,1024,7,5,6,18,711,$0100

*	bpb of the new system, one table saved
onetable_bpb
	DC.W	512,2,1024,7,5,6,18,711,2
