#!/bin/sh
# Makes the program files of this folder: $601A headers of 28 bytes with a text of RTS instructions behind.
# header FILE TEXT DATA BSS START: sizes and address in hexadecimal, all absolute; the text is as long as it says.
set -e
cd "$(dirname "$0")"

header() {
    {
        printf '601A%08X%08X%08X%08X%08X%08X0001' "0x$2" "0x$3" "0x$4" 0 0 "0x$5"
        count=$(((0x$2 + 0x$3) / 2))
        while [ "$count" -gt 0 ]; do
            printf '4E75'
            count=$((count - 1))
        done
    } | xxd -r -p >"$1"
}

header past.sys 20 0 0 90000
header vectors.sys 20 0 0 200
header high.sys 20 0 0 F80100
header kept.sys 20 0 0 1000
header odd.sys 20 0 0 2001
header cut.sys 20 0 0 2000
header stack.sys 20 10 1000 7E000
header empty.sys 0 10 0 3000
# The copy ended early.
head -c 40 cut.sys >cut.part
mv cut.part cut.sys
