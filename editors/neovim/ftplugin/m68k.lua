-- Columns of eight and real tabs, as the source was written; a star in column one makes a comment line.
vim.bo.tabstop = 8
vim.bo.shiftwidth = 8
vim.bo.softtabstop = 0
vim.bo.expandtab = false
vim.bo.commentstring = '; %s'
vim.bo.comments = ':;,:*'
vim.b.undo_ftplugin = 'setlocal tabstop< shiftwidth< softtabstop< expandtab< commentstring< comments<'
