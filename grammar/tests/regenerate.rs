//! The committed parsers are what the committed grammars generate.

use std::{
    fs,
    path::{Path, PathBuf},
};

use tree_sitter_generate::{OptLevel, generate_parser_in_directory};

#[test]
fn parsers_are_what_the_grammars_generate() {
    for grammar in ["m68k", "m68k_dotted", "m68k_mit", "m68k_sgs", "session"] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(grammar);
        let fresh = tempfile::tempdir().expect("a temporary folder");
        generate_parser_in_directory(
            folder.clone(),
            Some(fresh.path()),
            None::<PathBuf>,
            14,
            None,
            Some("native"),
            true,
            OptLevel::default(),
            &mut Vec::new(),
        )
        .expect("the grammar generates");
        for name in ["grammar.json", "node-types.json", "parser.c"] {
            let made = fs::read(fresh.path().join(name)).expect("a generated file");
            let kept = fs::read(folder.join("src").join(name)).expect("a committed file");
            assert!(
                made == kept,
                "{grammar}/src/{name} is not what the grammar generates: run `cargo run -p xtask -- grammar`"
            );
        }
    }
}

/// Those of assembly source.
const DIALECTS: [tree_sitter_language::LanguageFn; 4] = [
    reveille_grammar::LANGUAGE_M68K,
    reveille_grammar::LANGUAGE_M68K_DOTTED,
    reveille_grammar::LANGUAGE_M68K_MIT,
    reveille_grammar::LANGUAGE_M68K_SGS,
];

#[test]
fn parsers_have_the_format_that_all_editors_load() {
    for language in DIALECTS.into_iter().chain([reveille_grammar::LANGUAGE_SESSION]) {
        let language = tree_sitter::Language::from(language);
        assert_eq!(language.abi_version(), 14);
    }
}

#[test]
fn the_grammars_of_all_dialects_have_the_same_node_kinds() {
    let kinds = |language: tree_sitter_language::LanguageFn| {
        let language = tree_sitter::Language::from(language);
        (0..language.node_kind_count())
            .filter_map(|it| u16::try_from(it).ok())
            .filter(|it| language.node_kind_is_named(*it) && language.node_kind_is_visible(*it))
            .filter_map(|it| language.node_kind_for_id(it))
            .collect::<std::collections::BTreeSet<_>>()
            .into_iter()
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    for language in DIALECTS {
        assert_eq!(kinds(language), kinds(reveille_grammar::LANGUAGE_M68K));
    }
}
