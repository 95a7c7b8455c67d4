; Steps stand deeper than their stage, and than their `repeat`, `if` or `else`.

[
  (section)
  (repeat_block)
  (if_block)
] @indent.begin

["else" "end"] @indent.branch
"end" @indent.end

(section (stage_step) @indent.zero)
(broken) @indent.auto
