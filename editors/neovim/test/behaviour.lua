-- Runs inside Neovim (run.sh starts it) in a copy of the damaged demo firmware. WAY=start hides what Neovim 0.11 has
-- more than 0.10, so that the other way to start the server is tested too.

local server = assert(os.getenv('REVEILLE'))
local report = assert(io.open(assert(os.getenv('REPORT')), 'a'))
local by_hand = os.getenv('WAY') == 'start'
if by_hand then
  vim.lsp.config = nil
  vim.lsp.enable = nil
end

local function say(line)
  report:write(line, '\n')
  report:flush()
end

--- What `probe` gives as soon as it is something.
local function eventually(what, probe, seconds)
  local found
  vim.wait((seconds or 20) * 1000, function()
    found = probe()
    return found and true or false
  end, 20)
  return found or error(what .. ': not in time', 2)
end

local function equal(want, have, what)
  if want ~= have then
    error(('%s: wanted %s, have %s'):format(what, vim.inspect(want), vim.inspect(have)), 2)
  end
end

local function clients()
  return vim.lsp.get_clients({ name = 'reveille' })
end

local function one_client()
  return eventually('one client', function()
    local all = clients()
    return #all == 1 and all[1].initialized and all[1]
  end)
end

local function fat(buffer)
  return vim.tbl_filter(function(finding)
    return finding.source == 'reveille' and vim.startswith(tostring(finding.code), 'fat-')
  end, vim.diagnostic.get(buffer))
end

local function some_fat(buffer)
  return eventually('a finding of the FAT rules', function()
    local found = fat(buffer)
    return #found > 0 and found
  end, 60)
end

local function names(findings)
  local all = {}
  for _, finding in ipairs(findings) do
    all[finding.code .. ': ' .. finding.message] = true
  end
  return all
end

local function open(name)
  vim.cmd.buffer(vim.fn.bufadd(name))
  return vim.api.nvim_get_current_buf()
end

local function attached(client, buffer)
  eventually('the client in ' .. vim.api.nvim_buf_get_name(buffer), function()
    return vim.lsp.buf_is_attached(buffer, client.id)
  end)
end

--- Line and byte column, both from 0, of a text in the buffer.
local function find(buffer, text)
  for index, line in ipairs(vim.api.nvim_buf_get_lines(buffer, 0, -1, false)) do
    local column = line:find(text, 1, true)
    if column then
      return index - 1, column - 1
    end
  end
  error('no ' .. text, 2)
end

local function hover(client, buffer)
  attached(client, buffer)
  local line, column = find(buffer, '$A0,$05,$F9,$03,$00,$09')
  local answers, problem = vim.lsp.buf_request_sync(buffer, 'textDocument/hover', {
    textDocument = vim.lsp.util.make_text_document_params(buffer),
    position = { line = line, character = column + 1 }, -- this line is ASCII
  }, 20000)
  assert(answers, problem)
  local result = assert(answers[client.id], 'no answer').result
  return result and vim.inspect(result.contents) or ''
end

local tests = {
  { 'every file name of the trade is 68000 assembly', function()
    local empty = vim.api.nvim_create_buf(false, true)
    for _, ending in ipairs({ 's', 'S', 'asm', 'a68', 'x68', '68k', 'inc', 'i', 'sa', 'src' }) do
      equal('m68k', vim.filetype.match({ filename = 'a.' .. ending, buf = empty }), ending)
    end
  end },

  { 'a file that was open before setup() gets the server, with tabs of eight', function()
    local buffer = open('disk.s')
    equal('m68k', vim.bo[buffer].filetype, 'file type')
    equal(8, vim.bo[buffer].tabstop, 'tabstop')
    equal(0, #clients(), 'clients before setup()')
    require('reveille').setup({ cmd = { server, 'serve' } })
    local client = one_client()
    attached(client, buffer)
    equal(vim.uv.fs_realpath(vim.fn.getcwd()), vim.uv.fs_realpath(client.config.root_dir), 'root')
  end },

  { 'a session has its own file type, and gets the server', function()
    local client = one_client()
    local buffer = open('first.session')
    equal('reveille-session', vim.bo[buffer].filetype, 'file type')
    equal('# %s', vim.bo[buffer].commentstring, 'commentstring')
    equal(2, vim.bo[buffer].shiftwidth, 'shiftwidth')
    attached(client, buffer)
    equal('reveille-session', client.get_language_id(buffer, vim.bo[buffer].filetype), 'language of the protocol')
    vim.cmd('bwipeout!')
  end },

  { 'a session is rehearsed in a terminal as it is in the buffer', function()
    local path = vim.fs.joinpath(vim.fn.getcwd(), 'rehearsed.session')
    vim.cmd.edit(path)
    vim.api.nvim_buf_set_lines(0, 0, -1, false, { 'pause 10ms', 'chek' })
    vim.cmd('ReveilleRehearse')
    equal('terminal', vim.bo.buftype, 'buffer type')
    local terminal = vim.api.nvim_get_current_buf()
    eventually('what the rehearsal says of the second line', function()
      local said = table.concat(vim.api.nvim_buf_get_lines(terminal, 0, -1, false), '')
      return said:find('chek', 1, true)
    end)
    vim.cmd('bwipeout!')
    vim.fn.delete(path)
    vim.cmd('bwipeout!')
  end },

  { 'the bring-up sheet opens in a window of its own', function()
    local buffer = open('boot.s')
    attached(one_client(), buffer)
    vim.cmd('ReveilleSheet')
    equal('markdown', vim.bo.filetype, 'file type')
    local text = table.concat(vim.api.nvim_buf_get_lines(0, 0, -1, false), '\n')
    assert(text:find('## From power-on to the prompt', 1, true), text:sub(1, 300))
    vim.cmd('bwipeout!')
  end },

  { 'a damaged boot table has findings', function()
    local found = some_fat(open('disk.s'))
    local errors = vim.tbl_filter(function(finding)
      return finding.severity == vim.diagnostic.severity.ERROR
    end, found)
    assert(#errors > 0, 'none is an error')
  end },

  { 'a row of bytes tells its disk', function()
    local text = hover(one_client(), open('disk.s'))
    assert(text:find('80 x 2 x 9 x 512', 1, true), text)
  end },

  { 'options reach the server: hints behind the lines', function()
    local client = one_client()
    local buffer = open('disk.s')
    client:notify('workspace/didChangeConfiguration', { settings = { reveille = { hints = { cycles = true } } } })
    local line = find(buffer, 'MULU\tD2,D4')
    eventually('the cycles', function()
      local answer = client:request_sync('textDocument/inlayHint', {
        textDocument = vim.lsp.util.make_text_document_params(buffer),
        range = { start = { line = line, character = 0 }, ['end'] = { line = line, character = 0 } },
      }, 5000, buffer)
      local hints = answer and answer.result or {}
      return hints[1] and hints[1].label == '38-70 cycles'
    end)
  end },

  { 'lines are laid out by the own function of the editor', function()
    local client = one_client()
    local buffer = open('disk.s')
    attached(client, buffer)
    local line = find(buffer, 'MULU\tD2,D4')
    local function now() return vim.api.nvim_buf_get_lines(buffer, line, line + 1, true)[1] end
    local before = now()
    vim.api.nvim_buf_set_lines(buffer, line, line + 1, true, { (before:gsub('^\t', '   '):gsub('MULU\t', 'MULU ')) })
    assert(now() ~= before, 'nothing was disturbed')
    vim.lsp.buf.format({ bufnr = buffer, id = client.id, timeout_ms = 20000 })
    equal(before, now(), 'the line as it was')
    vim.cmd('edit!')
  end },

  { 'a repair in the buffer takes the finding away, undo brings it back', function()
    local buffer = open('disk.s')
    local before = names(some_fat(buffer))
    local line, column = find(buffer, '$08,$05,$FB')
    vim.api.nvim_buf_set_text(buffer, line, column, line, column + 3, { '$00' })
    eventually('one finding less', function()
      local now = names(fat(buffer))
      local fewer = vim.tbl_count(now) < vim.tbl_count(before)
      return fewer and vim.iter(pairs(now)):all(function(name) return before[name] end)
    end)
    assert(vim.bo[buffer].modified, 'the repair was saved')
    vim.cmd.undo()
    eventually('the finding again', function()
      local now = names(fat(buffer))
      return vim.iter(pairs(before)):all(function(name) return now[name] end)
    end)
  end },

  { 'lines that are not read have the colour of comments', function()
    equal('Comment', vim.api.nvim_get_hl(0, { name = '@lsp.mod.inactive.m68k' }).link, 'link')
    vim.cmd.colorscheme('default')
    equal('Comment', vim.api.nvim_get_hl(0, { name = '@lsp.mod.inactive.m68k' }).link, 'link in another scheme')
    local client = one_client()
    assert(vim.tbl_contains(client.server_capabilities.semanticTokensProvider.legend.tokenModifiers, 'inactive'))
  end },

  { 'the machine file is served, and no other file of its type', function()
    local client = one_client()
    local other = open('other.toml')
    vim.bo[other].filetype = 'toml'
    local buffer = open('bench/reveille.toml')
    vim.bo[buffer].filetype = 'toml'
    eventually('the server at the machine file', function()
      return #vim.lsp.get_clients({ name = 'reveille', bufnr = buffer }) == 1
    end)
    eventually('its findings', function()
      return vim.iter(vim.diagnostic.get(buffer)):any(function(finding)
        return finding.code == 'machine-002'
      end)
    end)
    equal(0, #vim.lsp.get_clients({ name = 'reveille', bufnr = other }), 'clients of another file')
    for _, more in ipairs(clients()) do
      if more.id ~= client.id then
        vim.lsp.stop_client(more.id)
      end
    end
    vim.cmd.bwipeout({ args = { buffer, other }, bang = true })
    one_client()
  end },

  { 'a second file uses the same server', function()
    local client = one_client()
    attached(client, open('boot.s'))
    equal(1, #clients(), 'clients')
  end },

  { ':ReveilleRestart: another server answers', function()
    local old = one_client().id
    vim.cmd.ReveilleRestart()
    local client = one_client()
    assert(client.id ~= old, 'still the old one')
    local buffer = open('disk.s')
    local text = hover(client, buffer)
    assert(text:find('80 x 2 x 9 x 512', 1, true), text)
    some_fat(buffer)
  end },

  { 'the server ends with its clients', function()
    for _, client in ipairs(clients()) do
      vim.lsp.stop_client(client.id)
    end
    eventually('no client', function()
      return #clients() == 0
    end, 5)
  end },
}

for _, test in ipairs(tests) do
  local good, problem = xpcall(test[2], debug.traceback)
  say(good and 'ok ' .. test[1] or 'not ok ' .. test[1] .. '\n    ' .. tostring(problem):gsub('\n', '\n    '))
  if not good and #clients() == 0 then
    break -- without a server the rest can only wait in vain
  end
end
say('end')
vim.cmd('qall!')
