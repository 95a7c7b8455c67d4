; What is shown in which color. Where two patterns match one node, the later one counts.

(comment) @comment
(preprocessor) @keyword.directive

; Names first, so that anything more special wins.
(symbol) @variable
(local_symbol) @label
(label name: (symbol) @label)
(label name: (local_symbol) @label)
(line
  label: (label name: (symbol) @constant)
  operation: (directive name: (directive_name) @_name)
  (#match? @_name "^([ \t]*(:=|==?)|\\.?([eE][qQ][uU][rR]?|[sS][eE][tT]|[rR][eE][gG]|[rR][sS]))$"))
(line
  label: (label name: (symbol) @function.macro)
  operation: (directive name: (directive_name) @_name)
  (#match? @_name "^\\.?[mM][aA][cC][rR][oO]$"))

; Operations.
(mnemonic) @function.builtin
(directive_name) @keyword
((directive_name) @keyword.conditional
  (#match? @keyword.conditional "^\\.?([iI][fF]|[eE][lL][sS][eE]|[eE][lL][iI][fF]|[eE][nN][dD]([cC]|[iI][fF])$)"))
((directive_name) @keyword.import
  (#match? @keyword.import "^\\.?([iI][nN][cC][lL][uU][dD][eE]|[iI][nN][cC][bB][iI][nN])$"))
((directive_name) @operator
  (#match? @operator "=$"))
(macro_name) @function.macro
(size) @type

; Registers.
[
  (data_register)
  (address_register)
  (special_register)
] @variable.builtin

; Values.
[
  (hexadecimal)
  (decimal)
  (binary)
  (octal)
] @number
(floating_number) @number.float
(character_constant) @character
(string) @string
(argument) @string.special
(argument (string) @string)
(argument (character_constant) @character)
(macro_parameter) @variable.parameter
(location_counter) @constant.builtin

(binary_expression operator: _ @operator)
(unary_expression operator: _ @operator)
(immediate operator: _ @operator)
["(" ")" "[" "]"] @punctuation.bracket
"," @punctuation.delimiter
