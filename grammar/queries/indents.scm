; A line after a label alone, or after an operation, starts as deep as operations do: nothing in the tree is nested.

(line operation: (_)) @indent.align
(line label: (label)) @indent.zero
