; What can be folded. Lines stand side by side in the tree, so that a fold over several lines is a run of comment lines or a
; comment over several lines; folds of conditionals, macros and routines come from the server.

((line . comment: (comment) .)+ @fold)
