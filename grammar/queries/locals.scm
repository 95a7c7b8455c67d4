; Where names are defined and used. A file is one scope: a local symbol's own scope, from label to label, is no node.

(source_file) @local.scope

(label name: (symbol) @local.definition)
(label name: (local_symbol) @local.definition)

(symbol) @local.reference
(local_symbol) @local.reference
