; What is shown in which color. Where two patterns match one node, the later one counts.

(comment) @comment

; Names first, so that anything more special wins.
(name) @variable
(field) @property
(term) @label
(machine_step machine: (term) @module)
(ask_step verb: (term) @function.call)
(ask_step argument: (term) @variable.parameter)
(dump_step layout: (term) @type)

; Words of steps.
[
  "machine" "console" "log" "pace" "stage" "press" "send" "await" "ask" "dump" "fill" "poke" "registers" "read" "write" "load"
  "start" "check" "keep" "confirm" "pause"
] @function.builtin
[
  "from" "line" "flow" "rts" "dtr" "pattern" "as" "using" "with" "sector" "of" "track" "side" "drive" "into" "boot" "file" "at"
  "matches" "in" "within"
] @keyword
["source" "prompt" "none" "xon-xoff" "rts-cts" "on" "off"] @constant.builtin
["byte" "word" "long"] @type.builtin
["repeat" "times"] @keyword.repeat
(repeat_block "end" @keyword.repeat)
"if" @keyword.conditional
(else_branch "else" @keyword.conditional)
(if_block "end" @keyword.conditional)
"include" @keyword.import
"stop" @keyword.exception

; Operators.
[".." "+:"] @operator
(unary_expression operator: _ @operator)
(binary_expression operator: _ @operator)
(unary_expression operator: "not" @keyword.operator)
(binary_expression operator: ["and" "or"] @keyword.operator)
("or" @keyword.exception . "stop")

; Values.
[
  (decimal)
  (hexadecimal)
  (binary)
  (size)
  (time)
  (frame)
] @number
(character) @character
(key) @character.special
(string) @string
(stage_step title: (string) @markup.heading)
(await_step pattern: (string) @string.regexp)
(escape) @string.escape

["(" ")" "[" "]"] @punctuation.bracket
["," "."] @punctuation.delimiter
