-- Starts `reveille serve` for 68000 source and monitor sessions. What is known about them is known by the server; this
-- file only tells Neovim how to start it.

local M = {}

local options = {
  cmd = { 'reveille', 'serve' },
  filetypes = { 'm68k', 'reveille-session' },
  -- The nearest folder upwards that holds one of these is the firmware; without one, the file's own folder is.
  root_markers = { 'reveille.toml', '.git' },
}

-- The machine file says what the source cannot. Its own file type stays what it is.
local machine_file = 'reveille.toml'

local function filetypes()
  return vim.list_extend({ 'toml', 'c' }, options.filetypes)
end

-- C is read beside the assembly: where a machine file lies above it, and for headers of assembly by their own file type.
local function is_served(buffer)
  local own = vim.bo[buffer].filetype
  return vim.tbl_contains(options.filetypes, own)
    or (own == 'c' and vim.fs.root(buffer, { machine_file }) ~= nil)
    or vim.fs.basename(vim.api.nvim_buf_get_name(buffer)) == machine_file
end

local function root_of(buffer)
  local path = vim.api.nvim_buf_get_name(buffer)
  return vim.fs.root(buffer, options.root_markers) or (path ~= '' and vim.fs.dirname(path)) or vim.fn.getcwd()
end

local function has_enable()
  return vim.lsp.enable ~= nil and vim.lsp.config ~= nil
end

-- Neovim 0.10 has no vim.lsp.enable.
local function start_by_hand(config)
  vim.api.nvim_create_autocmd('FileType', {
    group = vim.api.nvim_create_augroup('reveille', {}),
    pattern = filetypes(),
    callback = function(event)
      if vim.bo[event.buf].buftype == '' and is_served(event.buf) then
        vim.lsp.start(vim.tbl_extend('force', config, { root_dir = root_of(event.buf) }), { bufnr = event.buf })
      end
    end,
  })
end

-- For buffers whose file type is set already: only the autocommand that starts the server runs again.
local function start_in_open_buffers()
  local group = has_enable() and 'nvim.lsp.enable' or 'reveille'
  for _, buffer in ipairs(vim.api.nvim_list_bufs()) do
    if vim.api.nvim_buf_is_loaded(buffer) and vim.bo[buffer].filetype ~= '' and is_served(buffer) then
      vim.api.nvim_exec_autocmds('FileType', { group = group, buffer = buffer, modeline = false })
    end
  end
end

--- Fields, all optional: `cmd` (the command line of the server), `filetypes`, `root_markers`, and whatever else a
--- client of |vim.lsp.start()| takes, such as `on_attach` or `capabilities`.
function M.setup(given)
  options = vim.tbl_extend('force', options, given or {})

  local config = vim.tbl_extend('force', options, { name = 'reveille' })
  config.root_markers = nil
  if has_enable() then
    config.name = nil -- vim.lsp.config takes it from its key
    config.filetypes = filetypes()
    config.root_dir = function(buffer, on_root)
      if is_served(buffer) then
        on_root(root_of(buffer))
      end
    end
    vim.lsp.config('reveille', config)
    vim.lsp.enable('reveille')
  else
    config.filetypes = nil
    start_by_hand(config)
  end
  start_in_open_buffers()

  -- The server marks the words of lines that are not read, such as those of a conditional that is off. A colour scheme
  -- or the user may say otherwise.
  for _, filetype in ipairs(options.filetypes) do
    vim.cmd.highlight({ 'default', 'link', '@lsp.mod.inactive.' .. filetype, 'Comment' })
  end

  vim.api.nvim_create_user_command('ReveilleRehearse', function(given)
    M.rehearse(given.args)
  end, { nargs = '?', complete = 'file', desc = 'Rehearse a session in a terminal' })
  -- The line above a session's first statement, by vim.lsp.codelens.run().
  vim.lsp.commands['reveille.rehearse'] = function(command)
    M.rehearse(vim.uri_to_fname(command.arguments[1]))
  end

  vim.api.nvim_create_user_command('ReveilleSheet', function()
    M.sheet(vim.api.nvim_get_current_buf())
  end, { desc = 'Open the bring-up sheet of the program' })
  -- The line above the label at which the machine starts.
  vim.lsp.commands['reveille.sheet'] = function(command)
    M.sheet(vim.uri_to_bufnr(command.arguments[1]))
  end

  vim.api.nvim_create_user_command('ReveilleRestart', M.restart, { desc = 'Stop the Reveille server and start it again' })
end

--- Runs `reveille play` on a session in a terminal below: on the file that is named, or on that of the buffer at hand.
function M.rehearse(file)
  file = file and file ~= '' and vim.fs.normalize(file) or vim.api.nvim_buf_get_name(0)
  local buffer = vim.fn.bufnr(file)
  -- What is rehearsed is what is in the file.
  if buffer > 0 and vim.bo[buffer].modified then
    vim.api.nvim_buf_call(buffer, function()
      vim.cmd.write()
    end)
  end
  local program = type(options.cmd) == 'table' and options.cmd[1] or 'reveille'
  vim.cmd('botright new')
  if vim.fn.has('nvim-0.11') == 1 then
    vim.fn.jobstart({ program, 'play', file }, { term = true })
  else
    vim.fn.termopen({ program, 'play', file })
  end
end

--- Opens the bring-up sheet of the program that a buffer belongs to, as Markdown in a window below.
function M.sheet(buffer)
  local client = vim.lsp.get_clients({ name = 'reveille' })[1]
  if not client then
    vim.notify('Reveille: no server runs', vim.log.levels.ERROR)
    return
  end
  local asked = { textDocument = { uri = vim.uri_from_bufnr(buffer) }, format = 'markdown' }
  local answer = client:request_sync('reveille/sheet', asked, 10000, buffer)
  local told = answer and answer.result
  if not told or told == vim.NIL then
    vim.notify('Reveille: this file is no part of a program that was read', vim.log.levels.ERROR)
    return
  end
  vim.cmd('botright new')
  vim.bo.buftype = 'nofile'
  vim.bo.bufhidden = 'wipe'
  vim.api.nvim_buf_set_lines(0, 0, -1, false, vim.split(told.text, '\n'))
  vim.bo.filetype = 'markdown'
  vim.bo.modifiable = false
end

--- Stops the server and starts it again for the buffers it served.
function M.restart()
  local clients = vim.lsp.get_clients({ name = 'reveille' })
  for _, client in ipairs(clients) do
    vim.lsp.stop_client(client.id)
  end
  local gone = vim.wait(3000, function()
    return #vim.lsp.get_clients({ name = 'reveille' }) == 0
  end, 20)
  if not gone then
    vim.lsp.stop_client(vim.tbl_map(function(client)
      return client.id
    end, clients), true)
  end
  start_in_open_buffers()
end

return M
