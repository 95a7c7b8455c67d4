-- File names of 68000 assembly. Who keeps other things under one of them sets vim.g.reveille_extensions to a list of
-- their own before plugins load.
local extension, pattern = {}, {}
for _, ending in ipairs(vim.g.reveille_extensions or { 's', 'S', 'asm', 'a68', 'x68', '68k', 'inc', 'i', 'sa', 'src' }) do
  extension[ending] = 'm68k'
  if ending:lower() == 's' then
    -- Neovim 0.10 knows this one by a pattern, and patterns go before extensions.
    pattern['.*%.' .. ending] = { 'm68k', { priority = 1 } }
  end
end
-- Scripts for a machine's ROM monitor.
extension.session = 'reveille-session'
vim.filetype.add({ extension = extension, pattern = pattern })
