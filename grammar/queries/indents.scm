; Nothing is nested in the tree, so that there is no depth to count: labels start in column one, and an operation stands
; where the one before it does.

(line label: (label)) @indent.zero
(line operation: (_)) @indent.auto
