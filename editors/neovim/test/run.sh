#!/bin/sh
# Tests the plugin in a real Neovim. Prints "N passed, N failed"; exits 1 if one failed, 2 if it could not run.
#
#   REVEILLE         the server (target/release/reveille)
#   NVIM             another Neovim than the one of tests/install-tools.sh
#   REVEILLE_TOOLS   where tests/install-tools.sh put it
set -u

here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 2
plugin=$(dirname "$here")
root=$(CDPATH='' cd -- "$plugin/../.." && pwd) || exit 2
# shellcheck source=../../../tests/tool-paths.sh
. "$root/tests/tool-paths.sh"

cannot() {
    echo "editors/neovim/test/run.sh: $1" >&2
    exit 2
}

server=${REVEILLE:-$root/target/release/reveille}
case $server in /*) ;; *) server=$PWD/$server ;; esac
[ -x "$server" ] || cannot "no server at $server: cargo build --release -p reveille, or set REVEILLE"
nvim=${NVIM:-$nvim}
command -v "$nvim" >/dev/null 2>&1 || cannot "no Neovim: run tests/install-tools.sh first"

work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT
trap 'exit 2' HUP INT TERM

passed=0
failed=0
for way in enable start; do
    # A profile of its own for each, and no trace of the user's.
    mkdir -p "$work/$way" && cp -R "$root/tests/demo/skerry-damaged" "$work/$way/skerry" || cannot "no copy of the demo"
    : >"$work/$way/report"
    (
        cd "$work/$way/skerry" || exit 2
        HOME=$work/$way XDG_CONFIG_HOME=$work/$way/config XDG_DATA_HOME=$work/$way/data XDG_STATE_HOME=$work/$way/state \
            XDG_CACHE_HOME=$work/$way/cache XDG_RUNTIME_DIR=$work/$way REVEILLE=$server WAY=$way REPORT=$work/$way/report \
            timeout --foreground -k 5 90 "$nvim" --headless --clean -n --cmd "set runtimepath^=$plugin" \
            -c "luafile $here/behaviour.lua" >"$work/$way/said" 2>&1
    )
    status=$?
    grep -v '^end$' "$work/$way/report" | sed "s/^\(\(not \)\{0,1\}ok\)/\1 $way:/"
    passed=$((passed + $(grep -c '^ok ' "$work/$way/report")))
    failed=$((failed + $(grep -c '^not ok ' "$work/$way/report")))
    if ! grep -q '^end$' "$work/$way/report"; then
        failed=$((failed + 1))
        echo "not ok $way: Neovim ended before the last test, with $status"
        cat "$work/$way/said"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
