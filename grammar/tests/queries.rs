//! Every query compiles against every grammar that it is for, and the highlights are what a reader expects.

use tree_sitter::{Language, Parser, Query, QueryCursor, StreamingIterator};

fn dialects() -> [(&'static str, Language); 4] {
    [
        ("m68k", reveille_grammar::LANGUAGE_M68K.into()),
        ("m68k_dotted", reveille_grammar::LANGUAGE_M68K_DOTTED.into()),
        ("m68k_mit", reveille_grammar::LANGUAGE_M68K_MIT.into()),
        ("m68k_sgs", reveille_grammar::LANGUAGE_M68K_SGS.into()),
    ]
}

#[test]
fn every_query_compiles_against_the_grammars_of_all_dialects() {
    let queries = [
        ("highlights", reveille_grammar::HIGHLIGHTS_QUERY),
        ("locals", reveille_grammar::LOCALS_QUERY),
        ("tags", reveille_grammar::TAGS_QUERY),
        ("folds", reveille_grammar::FOLDS_QUERY),
        ("indents", reveille_grammar::INDENTS_QUERY),
        ("injections", reveille_grammar::INJECTIONS_QUERY),
    ];
    for (dialect, language) in dialects() {
        for (name, text) in queries {
            compile(dialect, &language, name, text);
        }
    }
}

fn compile(grammar: &str, language: &Language, name: &str, text: &str) {
    assert!(!text.trim().is_empty(), "{name} is empty");
    if let Err(problem) = Query::new(language, text) {
        panic!("{name} does not compile for {grammar}: {problem}");
    }
}

#[test]
fn every_query_for_sessions_compiles() {
    for (name, text) in [
        ("highlights", reveille_grammar::HIGHLIGHTS_QUERY_SESSION),
        ("locals", reveille_grammar::LOCALS_QUERY_SESSION),
        ("folds", reveille_grammar::FOLDS_QUERY_SESSION),
        ("indents", reveille_grammar::INDENTS_QUERY_SESSION),
    ] {
        compile("session", &reveille_grammar::LANGUAGE_SESSION.into(), name, text);
    }
}

/// The captures of a query: row, column, name and text, with those of names that start with `_` left out.
fn captures(language: &Language, query: &str, text: &str) -> Vec<(usize, usize, String, String)> {
    let mut parser = Parser::new();
    parser.set_language(language).expect("the library reads this format");
    let tree = parser.parse(text, None).expect("nothing stops the parser");
    let query = Query::new(language, query).expect("a query that compiles");
    let mut cursor = QueryCursor::new();
    let mut found = Vec::new();
    let mut matches = cursor.matches(&query, tree.root_node(), text.as_bytes());
    while let Some(it) = matches.next() {
        for capture in it.captures() {
            let name = query.capture_names()[capture.index as usize];
            if !name.starts_with('_') {
                let node = capture.node;
                let at = node.start_position();
                found.push((it.pattern_index, at.row, at.column, name.to_owned(), text[node.byte_range()].to_owned()));
            }
        }
    }
    // The last pattern wins, so it comes last.
    found.sort();
    found.into_iter().map(|(_, row, column, name, text)| (row, column, name, text)).collect()
}

/// Checks a sample whose comment lines point with `^` at the line before them and name the capture that must win there.
fn check_marks(language: &Language, sample: &str) {
    check_marks_of(language, reveille_grammar::HIGHLIGHTS_QUERY, sample);
}

fn check_marks_of(language: &Language, query: &str, sample: &str) {
    let found = captures(language, query, sample);
    let mut row = 0;
    let mut marks = 0;
    for (index, line) in sample.lines().enumerate() {
        let Some(mark) = line.strip_prefix(['*', '|', '#']).filter(|it| it.contains('^')) else {
            row = index;
            continue;
        };
        let column = 1 + mark.find('^').expect("just seen");
        let wanted = mark.trim_start_matches([' ', '^']).trim();
        let won = found
            .iter()
            .rev()
            .find(|(at, start, _, text)| *at == row && (*start..*start + text.len()).contains(&column));
        assert_eq!(won.map(|it| it.2.as_str()), Some(wanted), "row {row}, column {column} of {sample}");
        marks += 1;
    }
    assert!(marks > 0, "a sample without marks");
}

#[test]
fn highlights_of_motorola_syntax_are_as_marked() {
    check_marks(
        &reveille_grammar::LANGUAGE_M68K.into(),
        "\
 again:  move.w #$1F,(a0)+ take it
* ^ label
*        ^ function.builtin
*            ^ type
*              ^ operator
*                ^ number
*                    ^ variable.builtin
*                          ^ comment
ten      equ 10+one
*         ^ keyword
*            ^ number
*              ^ operator
*               ^ variable
two = 2
*   ^ operator
         if ten
*        ^ keyword.conditional
         include \"a.i\"
*         ^ keyword.import
*                 ^ string
         store \\1,<a b>
*         ^ function.macro
*               ^ string.special
         dc.b 'a',\"text\",*-.loop
*              ^ character
*                  ^ string
*                        ^ constant.builtin
*                           ^ label
         bra \\1
*            ^ variable.parameter
",
    );
}

#[test]
fn highlights_of_dotted_style_are_as_marked() {
    check_marks(
        &reveille_grammar::LANGUAGE_M68K_DOTTED.into(),
        "\
again:  move.w #0x1F, (%a0)+ | take it
|  ^ label
|        ^ function.builtin
|              ^ operator
|               ^ number
|                      ^ variable.builtin
|                             ^ comment
        .globl start
|       ^ keyword
|              ^ variable
        .if one == two
|       ^ keyword.conditional
|               ^ operator
1:      bra 1b
|           ^ label
",
    );
}

#[test]
fn highlights_of_mit_syntax_are_as_marked() {
    check_marks(
        &reveille_grammar::LANGUAGE_M68K_MIT.into(),
        "\
again:  movw #1,a0@+ | take it
|       ^ function.builtin
|            ^ operator
|             ^ number
|               ^ variable.builtin
|                    ^ comment
        movel name:l,a6@(4,d1:w)
|             ^ variable
|                  ^ type
|                    ^ variable.builtin
|                        ^ number
|                          ^ variable.builtin
|                             ^ type
SYM (start):
|^ label
",
    );
}

#[test]
fn highlights_of_the_style_with_ampersands_are_as_marked() {
    check_marks(
        &reveille_grammar::LANGUAGE_M68K_SGS.into(),
        "\
L%12:   mov.w &1,%d0 # take it
|^ label
|       ^ function.builtin
|           ^ type
|             ^ operator
|              ^ number
|                ^ variable.builtin
|                    ^ comment
        bra L%12
|           ^ variable
",
    );
}

#[test]
fn tags_name_macros_constants_and_routines() {
    let text = "store macro\n endm\nten = 10\nlist reg d0-d3\nstart move d0,d1\nalone\n store d0\n bsr start\n";
    let found = captures(&reveille_grammar::LANGUAGE_M68K.into(), reveille_grammar::TAGS_QUERY, text);
    let of = |kind: &str| {
        let rows: Vec<_> = found.iter().filter(|it| it.2 == kind).map(|it| it.0).collect();
        found.iter().filter(|it| it.2 == "name" && rows.contains(&it.0)).map(|it| it.3.as_str()).collect::<Vec<_>>()
    };
    assert_eq!(of("definition.macro"), ["store"]);
    assert_eq!(of("definition.constant"), ["ten", "list"]);
    assert_eq!(of("definition.function"), ["start", "alone"]);
    assert_eq!(of("reference.call"), ["store", "start"]);
}

#[test]
fn highlights_of_sessions_are_as_marked() {
    check_marks_of(
        &reveille_grammar::LANGUAGE_SESSION.into(),
        reveille_grammar::HIGHLIGHTS_QUERY_SESSION,
        r#"machine skerry-12 # one
#^ function.builtin
#       ^ module
#                 ^ comment
 console 9600 8n1 flow none rts on
#        ^ number
#             ^ number
#                 ^ keyword
#                      ^ constant.builtin
#                               ^ constant.builtin
 include "a.session"
#^ keyword.import
#         ^ string
 stage "One"
#^ function.builtin
#       ^ markup.heading
 press control-C
#      ^ character.special
 send "a\r"
#      ^ string
#       ^ string.escape
 await pattern "^E" within 10s or stop "b"
#      ^ keyword
#                ^ string.regexp
#                   ^ keyword
#                          ^ number
#                              ^ keyword.exception
#                                 ^ keyword.exception
#                                      ^ string
 ask pen position 4, size 2k
#    ^ function.call
#        ^ variable.parameter
#                  ^ punctuation.delimiter
#                         ^ number
 dump end .. $90 using fat-block as boot
#     ^ variable
#         ^ operator
#            ^ number
#                ^ keyword
#                      ^ type
 poke byte p with 'A'
#     ^ type.builtin
#                 ^ character
 check not boot[0].file == a or stop "c"
#      ^ keyword.operator
#              ^ punctuation.bracket
#                  ^ property
#                       ^ operator
#                            ^ keyword.exception
 check a or b
#        ^ keyword.operator
 repeat 2 times
#^ keyword.repeat
#         ^ keyword.repeat
 if a
#^ keyword.conditional
 else
#^ keyword.conditional
 end
#^ keyword.conditional
 end
#^ keyword.repeat
"#,
    );
}

/// The words of the session grammar that are nodes of their own.
fn session_words() -> Vec<String> {
    let language = Language::from(reveille_grammar::LANGUAGE_SESSION);
    let ids = (0..language.node_kind_count()).filter_map(|it| u16::try_from(it).ok());
    let words: Vec<_> = ids
        .filter(|it| !language.node_kind_is_named(*it))
        .filter_map(|it| language.node_kind_for_id(it))
        .filter(|it| it.chars().all(|it| it.is_ascii_lowercase() || it == '-') && *it != "-")
        .map(str::to_owned)
        .collect();
    assert!(words.len() > 50, "{words:?}");
    words
}

#[test]
fn every_word_of_a_session_has_a_color() {
    let colors = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../editors/vscode/syntaxes/reveille-session.tmLanguage.json");
    let colors = std::fs::read_to_string(colors).expect("the extension has its own colors");
    // What a pattern escapes is no letter of a word.
    let colors = colors.replace("\\\\s", " ").replace("\\\\b", " ");
    let is_letter = |it: char| it.is_ascii_alphanumeric() || it == '-';
    let colored: Vec<&str> = colors.split(|it| !is_letter(it)).collect();
    for word in session_words() {
        assert!(
            reveille_grammar::HIGHLIGHTS_QUERY_SESSION.contains(&format!("\"{word}\"")),
            "`{word}` in highlights.scm"
        );
        assert!(colored.contains(&word.as_str()), "`{word}` in the extension");
    }
}

#[test]
fn stages_blocks_and_comments_of_sessions_fold() {
    let text = "# a\n# b\nstage \"One\"\nrepeat 2 times\nif a\npress tab\nelse\npress tab\nend\nend\nstage \"Two\"\n";
    let found = captures(&reveille_grammar::LANGUAGE_SESSION.into(), reveille_grammar::FOLDS_QUERY_SESSION, text);
    let rows: Vec<usize> = found.iter().filter(|it| it.2 == "fold").map(|it| it.0).collect();
    assert_eq!(rows, [2, 3, 4, 6, 10, 0, 1], "stages and blocks, then comments: {found:?}");
}

#[test]
fn a_session_binds_names_by_as() {
    let text = "dump a .. b as one\nregisters as two\ncheck one == two\n";
    let found = captures(&reveille_grammar::LANGUAGE_SESSION.into(), reveille_grammar::LOCALS_QUERY_SESSION, text);
    let of = |kind: &str| found.iter().filter(|it| it.2 == kind).map(|it| it.3.as_str()).collect::<Vec<_>>();
    assert_eq!(of("local.definition"), ["one", "two"]);
    assert_eq!(of("local.reference"), ["a", "b", "one", "two", "one", "two"]);
}
