-- Steps stand two blanks deeper than their stage or block.
vim.bo.shiftwidth = 2
vim.bo.softtabstop = 2
vim.bo.expandtab = true
vim.bo.commentstring = '# %s'
vim.bo.comments = ':#'
vim.b.undo_ftplugin = 'setlocal shiftwidth< softtabstop< expandtab< commentstring< comments<'
