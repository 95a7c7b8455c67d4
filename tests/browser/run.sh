#!/bin/sh
# Opens the demo's bring-up sheet in Chromium. Prints "N passed, N failed"; exits 1 if one failed, 2 if it could not run.
#
#   REVEILLE         the program (target/release/reveille)
#   REVEILLE_SHOTS   a folder for pictures (none are kept)
#   REVEILLE_TOOLS   where tests/install-tools.sh put the tools
set -u

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 2
root=$(CDPATH='' cd -- "$here/../.." && pwd) || exit 2
# shellcheck source=../tool-paths.sh
. "$root/tests/tool-paths.sh"

cannot() {
    echo "tests/browser/run.sh: $1" >&2
    exit 2
}

program=${REVEILLE:-$root/target/release/reveille}
[ -x "$program" ] || cannot "no program at $program: cargo build --release -p reveille, or set REVEILLE"
[ -e "$code_tools/.complete" ] || cannot "no browser driver: run tests/install-tools.sh first"
browser=${CHROMIUM:-$(command -v chromium)} || cannot "no Chromium: run tests/install-tools.sh first"

work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT
trap 'exit 2' HUP INT TERM
(cd "$root" && "$program" sheet tests/demo/skerry --format html) >"$work/sheet.html" || cannot "there is no sheet"
set -- --tools "$code_tools" --sheet "$work/sheet.html"
if [ -n "${REVEILLE_SHOTS:-}" ]; then
    mkdir -p "$REVEILLE_SHOTS" || exit 2
    set -- "$@" --shots "$REVEILLE_SHOTS"
fi
CHROMIUM=$browser timeout --foreground -k 10 240 "$code_node/node" "$here/sheet.mjs" "$@"
