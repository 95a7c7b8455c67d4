//! Compiles the generated parsers.

use std::path::Path;

fn main() {
    for grammar in ["m68k", "m68k_dotted", "m68k_mit", "m68k_sgs", "session"] {
        let source = Path::new(grammar).join("src");
        let parser = source.join("parser.c");
        cc::Build::new()
            .std("c11")
            .include(&source)
            .file(&parser)
            // Generated code: its unused labels and parameters are nobody's fault.
            .warnings(false)
            .compile(&format!("tree-sitter-{grammar}"));
        println!("cargo:rerun-if-changed={}", source.display());
    }
}
