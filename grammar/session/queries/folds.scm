; What can be folded: stages, blocks of steps, comments of several lines.

[
  (section)
  (repeat_block)
  (if_block)
  (else_branch)
] @fold

(comment)+ @fold
