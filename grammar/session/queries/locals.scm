; Where names are bound and used. A script is one scope: what a step binds holds for all steps behind it.

(source_file) @local.scope

(_ as: (name) @local.definition)

(name) @local.reference
