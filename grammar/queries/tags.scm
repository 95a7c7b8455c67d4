; Definitions and calls for a list of tags.

(line
  label: (label name: (symbol) @name)
  operation: (directive name: (directive_name) @_name)
  (#match? @_name "^\\.?[mM][aA][cC][rR][oO]$")) @definition.macro

(line
  label: (label name: (symbol) @name)
  operation: (directive name: (directive_name) @_name)
  (#match? @_name "^([ \t]*(:=|==?)|\\.?([eE][qQ][uU][rR]?|[sS][eE][tT]|[rR][eE][gG]|[rR][sS]))$")) @definition.constant

(line
  label: (label name: (symbol) @name)
  operation: (instruction)) @definition.function

(line
  label: (label name: (symbol) @name)
  .) @definition.function

(line
  operation: (macro_call name: (macro_name) @name)) @reference.call

(line
  operation: (instruction name: (mnemonic) @_name)
  operands: (operands operand: (symbol) @name)
  (#match? @_name "^([bB][sS][rR]|[jJ][sS][rR]|[jJ][bB][sS][rR])$")) @reference.call
