; Text in another language.

((comment) @injection.content
  (#set! injection.language "comment"))

((preprocessor) @injection.content
  (#set! injection.language "c"))
