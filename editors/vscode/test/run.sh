#!/bin/sh
# Packages the extension and tests it in a real VS Code. Prints "N passed, N failed"; exits 1 if one failed, 2 if it
# could not run.
#
#   REVEILLE         the server (target/release/reveille)
#   REVEILLE_SHOTS   a folder for pictures (none are kept)
#   REVEILLE_TOOLS   where tests/install-tools.sh put the editor
set -u

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 2
extension=$(dirname "$here")
root=$(CDPATH='' cd -- "$extension/../.." && pwd) || exit 2
# shellcheck source=../../../tests/tool-paths.sh
. "$root/tests/tool-paths.sh"

cannot() {
    echo "editors/vscode/test/run.sh: $1" >&2
    exit 2
}

server=${REVEILLE:-$root/target/release/reveille}
case $server in /*) ;; *) server=$PWD/$server ;; esac
[ -x "$server" ] || cannot "no server at $server: cargo build --release -p reveille, or set REVEILLE"
[ -e "$code_tools/.complete" ] || cannot "no VS Code: run tests/install-tools.sh first"
browser=${CHROMIUM:-$(command -v chromium)} || cannot "no Chromium: run tests/install-tools.sh first"

work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT
trap 'exit 2' HUP INT TERM
PATH=$code_node:$PATH

step() {
    "$@" >"$work/log" 2>&1 || { cat "$work/log" >&2; cannot "failed: $*"; }
}

cd "$extension" || exit 2
if ! cmp -s package-lock.json node_modules/.installed-lock; then
    step timeout 300 npm ci --no-progress --loglevel=error
    cp package-lock.json node_modules/.installed-lock
fi
step timeout 120 npm run --silent package -- --out "$work/reveille.vsix"

shots=${REVEILLE_SHOTS:-$work/shots}
case $shots in /*) ;; *) shots=$OLDPWD/$shots ;; esac
mkdir -p "$shots" || exit 2

# The driver has its own limits; this one is for the case that it hangs itself.
REVEILLE=$server CHROMIUM=$browser timeout --foreground -k 10 300 node "$here/drive.mjs" \
    --code-server "$code_server" --tools "$code_tools" --extension "$extension" --vsix "$work/reveille.vsix" \
    --demo "$root/tests/demo/skerry-damaged" --shots "$shots"
status=$?
case $status in
0 | 1) exit $status ;;
124 | 137) echo "0 passed, 1 failed"; cannot "the test did not end in time" ;;
*) cannot "the driver ended with $status" ;;
esac
