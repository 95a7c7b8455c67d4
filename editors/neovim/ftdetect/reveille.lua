-- File names of 68000 assembly. Who keeps other things under one of them sets vim.g.reveille_extensions to a list of
-- their own before plugins load.
local extension = {}
for _, ending in ipairs(vim.g.reveille_extensions or { 's', 'S', 'asm', 'a68', 'x68', '68k', 'inc', 'i', 'sa', 'src' }) do
  extension[ending] = 'm68k'
end
vim.filetype.add({ extension = extension })
