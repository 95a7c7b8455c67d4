   1                              *
   2                              *       panel.s Skerry 12: keys of the front panel
   3                              *       Typed in from the listing; the disk is lost.
   4                              *
   5                                      xdef    plotter,pankey
   6  00F20000                    PANKEY  equ     $F20000
   7  00000000  1039 00F2 0000    pankey  move.b  PANKEY,d0
   8  00000006  0200 000F                 andi.b  #$0F,d0
SKERRY 12  PANEL     PAGE 2

   9  0000000A  B03C 0045                 cmp.b   #’E’,d0 ERASE?
  10  0000000E  6702                      beq.s   panera
  11  00000010  4E75                      rts
  12  00000012  42B9 0000 0400    panera  clr.l   $400.l
  13  00000018  4E75                      rts
  14  0000001A  4E71              plotter nop             the plotter has no key
  15  0000001C  4E75                      rts
  16                                      end
