#!/bin/sh
# Makes the whole ROM of the demo with the GNU tools: boot.s in the lower half, the service monitor in the upper.
#
#   rom.sh FOLDER ROM-IMAGE
#
# FOLDER holds what assemble.sh wants, and service.s, service.c, loader.c with what they include.
# Exit status: 0 made, 1 a tool refused something, 2 could not run.
#
# The C is of a time without `volatile`: only without optimisation does each look at a port stay one. Its `#asm` blocks, which GNU cc does not
# know, are turned into asm statements, line by line.

set -u

fail() {
    echo "rom.sh: $2" >&2
    exit "$1"
}

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 2
folder=${1:-}
image=${2:-}
[ -n "$folder" ] && [ -n "$image" ] || fail 2 "usage: rom.sh FOLDER ROM-IMAGE"
[ -f "$folder/service.s" ] || fail 2 "no service.s in $folder"

prefix=${M68K_PREFIX:-m68k-linux-gnu-}
for tool in as gcc ld objcopy; do
    command -v "$prefix$tool" >/dev/null 2>&1 ||
        fail 2 "${prefix}$tool is missing (Debian: apt-get install gcc-m68k-linux-gnu)"
done

work=$(mktemp -d) || fail 2 "no temporary folder"
trap 'rm -rf "$work"' EXIT
trap 'exit 2' HUP INT TERM

sh "$here/assemble.sh" "$folder" "$work/boot.bin" >/dev/null || fail 1 "the lower half is not made"

# GNU as in its compatibility mode refuses ORG: the linker puts the text there instead.
for file in "$folder"/service.s "$folder"/*.i; do
    sed 's/^\([[:blank:]]\{1,\}\)[oO][rR][gG][[:blank:]].*$/\1text/' "$file" >"$work/${file##*/}" ||
        fail 2 "cannot read $file"
done
cp "$folder"/*.h "$work" || fail 2 "cannot read the headers"
for file in "$folder"/service.c "$folder"/loader.c; do
    awk '
        /^#asm/ { inside = 1; print ""; next }
        /^#endasm/ { inside = 0; print ""; next }
        inside { gsub(/\$/, "0x"); gsub(/\t/, "\\t"); print "asm(\"" $0 "\");"; next }
        { print }
    ' "$file" >"$work/${file##*/}" || fail 2 "cannot read $file"
done

cd "$work" || fail 2 "cannot enter $work"
"${prefix}as" --mri --register-prefix-optional -m68000 --fatal-warnings service.s -o start.o ||
    fail 1 "service.s does not assemble"
for name in service loader; do
    "${prefix}gcc" -m68000 -mshort -std=gnu89 -O0 -w -ffreestanding -fno-builtin -fleading-underscore -fno-pie \
        -fno-stack-protector -fno-asynchronous-unwind-tables -Wa,--register-prefix-optional -c "$name.c" -o "$name.o" ||
        fail 1 "$name.c does not compile"
done
cat >service.ld <<'LINK'
SECTIONS {
    .text 0x20000 : { start.o(.text) *(.text) *(.rodata .rodata.*) *(.data) . = ALIGN(2); }
    .bss 0x82000 (NOLOAD) : { *(.bss) *(COMMON) }
    /DISCARD/ : { *(.comment) *(.note.*) }
}
ASSERT(SIZEOF(.text) <= 0x20000, "the service monitor is longer than the upper half")
ASSERT(SIZEOF(.bss) <= 0x2000, "its variables do not fit below LOADAD")
LINK
"${prefix}ld" -z noexecstack -T service.ld --entry 0x20000 start.o service.o loader.o -o service.elf ||
    fail 1 "the service monitor does not link"
"${prefix}objcopy" -O binary -j .text service.elf service.bin || fail 1 "no bytes came out"

# The header's last two long words: how many bytes are behind it, and the sum of their words.
od -An -v -tu1 -j16 service.bin | awk '
    { for (i = 1; i <= NF; i++) { sum += count++ % 2 ? $i : $i * 256 } }
    END {
        sum %= 65536
        for (i = 24; i >= 0; i -= 8) printf "\\%03o", int(count / 2 ^ i) % 256
        printf "\\%03o\\%03o\\000\\000", int(sum / 256), sum % 256
    }
' >header || fail 2 "cannot add up"
# shellcheck disable=SC2059
printf "$(cat header)" | dd of=service.bin bs=1 seek=8 conv=notrunc 2>/dev/null || fail 2 "cannot write the header"
dd if=service.bin of=boot.bin bs=131072 seek=1 conv=notrunc 2>/dev/null || fail 2 "cannot put the halves together"

cd "$OLDPWD" || fail 2 "cannot go back"
cp "$work/boot.bin" "$image" || fail 2 "cannot write $image"
echo "$image: the service monitor has $(wc -c <"$work/service.bin" | tr -d ' ') bytes"
