#!/bin/sh
# Assembles the demo firmware with GNU as, as an outside opinion that it is sound.
#
#   assemble.sh FOLDER [ROM-IMAGE]
#
# FOLDER holds boot.s and what it includes. With ROM-IMAGE the bytes, linked at 0, are written there.
# Exit status: 0 sound, 1 the assembler or the linker refused something, 2 could not run.
#
# GNU as in its compatibility mode refuses ORG, so a copy is assembled in which that line selects
# the text section instead; the linker then puts the section where ORG would have.

set -u

fail() {
    echo "assemble.sh: $2" >&2
    exit "$1"
}

folder=${1:-}
image=${2:-}
[ -n "$folder" ] || fail 2 "usage: assemble.sh FOLDER [ROM-IMAGE]"
[ -f "$folder/boot.s" ] || fail 2 "no boot.s in $folder"

prefix=${M68K_PREFIX:-m68k-linux-gnu-}
for tool in as nm ld objcopy; do
    command -v "$prefix$tool" >/dev/null 2>&1 ||
        fail 2 "${prefix}$tool is missing (Debian: apt-get install binutils-m68k-linux-gnu)"
done

work=$(mktemp -d) || fail 2 "no temporary folder"
trap 'rm -rf "$work"' EXIT
trap 'exit 2' HUP INT TERM

for file in "$folder"/*.s "$folder"/*.i; do
    sed 's/^\([[:blank:]]\{1,\}\)[oO][rR][gG][[:blank:]].*$/\1text/' "$file" >"$work/${file##*/}" ||
        fail 2 "cannot read $file"
done

cd "$work" || fail 2 "cannot enter $work"
"${prefix}as" --mri --register-prefix-optional -m68000 --fatal-warnings boot.s -o boot.o ||
    fail 1 "$folder does not assemble"

missing=$("${prefix}nm" -u boot.o) || fail 1 "cannot list the symbols"
[ -z "$missing" ] || fail 1 "never defined: $(echo "$missing" | sed 's/^ *U *//' | tr '\n' ' ')"

"${prefix}ld" -Ttext 0 --entry 0 boot.o -o boot.elf || fail 1 "$folder does not link"
"${prefix}objcopy" -O binary -j .text boot.elf boot.bin || fail 1 "no bytes came out"

cd "$OLDPWD" || fail 2 "cannot go back"
if [ -n "$image" ]; then
    cp "$work/boot.bin" "$image" || fail 2 "cannot write $image"
fi
echo "$folder: $(wc -c <"$work/boot.bin" | tr -d ' ') bytes"
