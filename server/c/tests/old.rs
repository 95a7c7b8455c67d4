//! What C of the time has beside what everybody knows, one piece a test.

use reveille_c::*;

fn with(text: &str, settings: &Settings) -> Unit {
    Unit::read(&Text { key: FileKey(0), text: text.into() }, &mut |_, _, _| None, settings)
}

fn read(text: &str) -> Unit {
    with(text, &Settings::default())
}

/// Reads without any trouble.
fn clean(text: &str) -> Unit {
    let unit = read(text);
    let troubles: Vec<&str> = unit.troubles().iter().map(|it| unit.text(*it)).collect();
    assert!(troubles.is_empty(), "{text}: {troubles:?}");
    unit
}

fn names(unit: &Unit) -> Vec<&str> {
    unit.functions().iter().map(|it| &*it.name).collect()
}

fn value(unit: &Unit, object: &str) -> Option<i64> {
    let it = unit.objects().iter().find(|it| &*it.name == object).expect("the object is there");
    match it.init.as_ref().expect("it has an initialiser") {
        Init::Value(value) => unit.value(value).map(|it| it.value),
        other => panic!("{other:?}"),
    }
}

fn bytes(unit: &Unit, object: &str) -> Vec<Option<u8>> {
    let it = unit.objects().iter().find(|it| &*it.name == object && it.init.is_some()).expect("the object is there");
    unit.data(it).expect("it has data").iter().flat_map(|it| it.bytes.clone()).collect()
}

fn statements(unit: &Unit) -> Vec<&'static str> {
    let mut kinds = Vec::new();
    for it in unit.functions() {
        it.visit(&mut |it| {
            kinds.push(match it.kind {
                StatementKind::Expression(_) => "expression",
                StatementKind::If { .. } => "if",
                StatementKind::While { .. } => "while",
                StatementKind::DoWhile { .. } => "do",
                StatementKind::For { .. } => "for",
                StatementKind::Switch { .. } => "switch",
                StatementKind::Return(_) => "return",
                StatementKind::Goto(..) => "goto",
                StatementKind::Label(..) => "label",
                StatementKind::Break => "break",
                StatementKind::Continue => "continue",
                StatementKind::Block(_) => "block",
                StatementKind::Declaration(_) => "declaration",
                StatementKind::Assembly(_) => "assembly",
                StatementKind::Empty => "empty",
                StatementKind::Broken => "broken",
            });
        });
    }
    kinds
}

#[test]
fn types_that_are_not_said_are_int() {
    let unit = clean("static x; extern y, *z; f(a, b, c) char *a; unsigned c; { register i; auto j; static k = 1; }");
    let int = Type::Integer(Integer { bytes: 2, is_signed: true });
    let function = &unit.functions()[0];
    assert_eq!(function.result, int);
    assert_eq!(function.parameters[1].ty, int);
    assert_eq!(unit.size(&function.parameters[0].ty), Some(4));
    assert_eq!(unit.objects().iter().map(|it| &*it.name).collect::<Vec<_>>(), ["x", "y", "z"]);
    assert!(unit.objects()[0].is_static && unit.objects()[1].is_extern);
    assert_eq!(statements(&unit), ["declaration"; 3]);
}

#[test]
fn macros_that_stand_for_syntax_are_put_in() {
    let unit = clean(
        "#define IF if (\n#define THEN ) {\n#define FI }\n#define EQ ==\n#define LOOP for (;;)\n#define NOTHING\n#define REG register\n\
         #define CHECK(x) if (x) return;\n#define PROC static int\n#define VAR(n) int n\n\
         PROC f(a) NOTHING { REG int i; VAR(j); IF a EQ 3 THEN LOOP { CHECK(a + j) } FI }\n",
    );
    assert_eq!(names(&unit), ["f"]);
    assert_eq!(statements(&unit), ["declaration", "declaration", "if", "for", "if", "return"]);
    let local = unit.names().filter(|it| &*it.name == "j").map(|it| it.role).collect::<Vec<_>>();
    assert_eq!(local, [Role::Local; 2]);
}

#[test]
fn macros_that_stand_for_expressions_stay_names() {
    let unit = clean(
        "#define PORT (*(BYTE *) 0xFFC001)\n#define BYTE unsigned char\n#define out conout\nf() { PORT = 1; out('a'); }\n",
    );
    let mut seen = Vec::new();
    unit.functions()[0].expressions(&mut |it| {
        if let ExprKind::Name(name) = &it.kind {
            seen.push((name.to_string(), unit.address(it)));
        }
    });
    assert_eq!(seen, [("PORT".to_owned(), Some(0xFFC001)), ("out".to_owned(), None)]);
    let mut called = Vec::new();
    unit.functions()[0].expressions(&mut |it| called.extend(unit.called(it).map(str::to_owned)));
    assert_eq!(called, ["conout"]);
}

#[test]
fn arguments_keep_their_places_when_a_macro_is_put_in() {
    let unit = clean("#define DO(x, y) { x; y; }\nf() { int count; DO(g(count), count = 2) }\n");
    let uses: Vec<(&str, Role)> =
        unit.names().filter(|it| &*it.name == "count").map(|it| (unit.text(it.span), it.role)).collect();
    assert_eq!(uses, [("count", Role::Local); 3]);
    let mut spans = Vec::new();
    unit.functions()[0].expressions(&mut |it| spans.push(unit.text(it.span).to_owned()));
    assert!(spans.contains(&"g(count)".to_owned()), "{spans:?}");
}

#[test]
fn prototypes_behind_a_macro_are_read() {
    let unit = clean("#define P(x) ()\nint f P((char *, int));\nlong g P((struct s *p));\n");
    assert_eq!(unit.declarations().iter().map(|it| &*it.name).collect::<Vec<_>>(), ["f", "g"]);
    let unit = clean("#define P(x) x\nint f P((char *s, int));\nint g(void), h(FILE *, ...);\n");
    let counts: Vec<Option<usize>> =
        unit.declarations().iter().map(|it| it.parameters.as_ref().map(Vec::len)).collect();
    assert_eq!(counts, [Some(2), Some(0), Some(1)]);
}

#[test]
fn names_that_nobody_explains_are_types_where_they_stand_like_one() {
    let unit = clean(
        "FILE *log;\nBOOL ready;\nEXPORT\nVOID f(p) LIST *p; { HANDLE h; TREE *t, **u; a * b; (LIST *) p; (CELL) 5; }\n",
    );
    assert_eq!(unit.objects().iter().map(|it| &*it.name).collect::<Vec<_>>(), ["log", "ready"]);
    assert_eq!(names(&unit), ["f"]);
    assert_eq!(unit.functions()[0].result, Type::Named("EXPORT".into()));
    assert_eq!(statements(&unit)[..2], ["declaration"; 2]);
    let text = "int a, b; f() { a * b; }";
    assert_eq!(statements(&clean(text)), ["expression"]);
}

#[test]
fn an_initialiser_without_its_mark_is_broken_and_the_next_object_is_there() {
    let unit = read("int x 5;\nint y = 6;\nf() { }\n");
    assert_eq!(unit.troubles().len(), 1);
    assert_eq!(value(&unit, "y"), Some(6));
    assert_eq!(names(&unit), ["f"]);
}

// K&R (1978), 7.14: `=+` is told from a sign by what stands around it.
#[test]
fn old_assignments_are_told_from_signs() {
    let mut marks = Vec::new();
    let unit =
        clean("f() { a =+ 1; a =- 1; a=-1; a = -1; a =-1; a =* b; a =<< 2; a =/ 2; a =% 3; a =| 4; a =^ 5; a=>> 1; }");
    unit.functions()[0].expressions(&mut |it| {
        if let ExprKind::Assign(mark, ..) = &it.kind {
            marks.push(*mark);
        }
    });
    assert_eq!(marks, ["+=", "-=", "=", "=", "=", "=", "<<=", "/=", "%=", "|=", "^=", ">>="]);
}

// ANSI X3.159-1989, 3.1.3.2 and 3.2.1.5, for an `int` of 2 bytes.
#[test]
fn numbers_have_the_types_of_a_16_bit_int() {
    let text = "int a = 40000, b = 0x8000, c = 1 << 15, d = 200 * 200, e = 0xFFFF + 1, f = 70000 * 2, g = 0x8000 > 0,\n\
                h = -1 > 0x7FFF, i = -1 > 0x8000, j = sizeof(int), k = sizeof 40000, l = 'ab', m = (char) 200, n = -1 < 1u, o = 32767 + 1L;\n";
    let unit = clean(text);
    let all: Vec<Option<i64>> = ('a'..='o').map(|it| value(&unit, &it.to_string())).collect();
    let told = [40000, 32768, -32768, -25536, 0, 140_000, 1, 0, 1, 2, 4, 0x6162, -56, 0, 32768];
    assert_eq!(all, told.map(Some));
    let wide = with(text, &Settings { int_bytes: 4, defines: Vec::new() });
    assert_eq!(value(&wide, "c"), Some(32768));
    assert_eq!(value(&wide, "i"), Some(0));
}

#[test]
fn what_only_a_run_tells_has_no_value() {
    let unit = clean(
        "int x; const int y = 3; int a = x, b = y, c = 1 / 0, d = f(), e = 1 << 40, g = 0 && 1 / 0, h = 1 ? 2 : x;\nint z = 2.5;",
    );
    for name in ["a", "b", "c", "d", "e", "z"] {
        assert_eq!(value(&unit, name), None, "{name}");
    }
    assert_eq!((value(&unit, "g"), value(&unit, "h")), (Some(0), Some(2)));
}

#[test]
fn addresses_are_worked_out_through_records_and_arrays() {
    let unit = clean(
        "struct chip { char fill, data; struct { int low, high; } timer[4]; };\n#define CHIPS ((struct chip *) 0xFF0000)\n\
         f(i) { CHIPS->data; CHIPS[1].timer[2].high; *(short *) (0x1000 + 2); ((char *) CHIPS)[3]; CHIPS[i].data; CHIPS + 1; }\n",
    );
    let mut found = Vec::new();
    unit.functions()[0].visit(&mut |it| {
        if let StatementKind::Expression(it) = &it.kind {
            found.push(unit.address(it).or(unit.value(it).map(|it| it.value as u32)));
        }
    });
    // A chip has 18 bytes: 2, and four times 4. The second one's third timer is at 18 + 2 + 8, `high` 2 behind.
    let high = 0xFF0000 + 18 + 2 + 8 + 2;
    assert_eq!(found, [Some(0xFF0001), Some(high), Some(0x1002), Some(0xFF0003), None, Some(0xFF0012)]);
}

#[test]
fn a_macro_is_what_it_was_defined_as_above() {
    let unit = clean("#define N 1\nint a = N;\n#undef N\n#define N 2\nint b = N + N;\n#undef N\n");
    assert_eq!((value(&unit, "a"), value(&unit, "b")), (Some(1), Some(4)));
    assert_eq!(unit.constant("N"), None);
    assert_eq!(unit.defines().map(|it| (&*it.body, it.undefined)).collect::<Vec<_>>(), [("1", true), ("2", true)]);
    let places: Vec<u32> = unit.names().filter_map(|it| it.declared_at).map(|it| it.start).collect();
    assert_eq!(places.iter().collect::<std::collections::BTreeSet<_>>().len(), 4);
}

#[test]
fn conditions_take_what_the_settings_define() {
    let text = "#if VERSION == 3 && !defined FULL\nint a;\n#elif VERSION\nint b;\n#else\nint c;\n#endif\n# ifdef FULL\n#\nint d;\n # endif\n";
    let objects = |defines: &[(&str, i64)]| {
        let defines = defines.iter().map(|it| (it.0.to_owned(), it.1)).collect();
        let unit = with(text, &Settings { int_bytes: 2, defines });
        assert_eq!(unit.defines().count(), 0);
        let names: Vec<String> = unit.objects().iter().map(|it| it.name.to_string()).collect();
        names.concat()
    };
    assert_eq!(objects(&[("VERSION", 3)]), "a");
    assert_eq!(objects(&[("VERSION", 3), ("FULL", 0)]), "bd");
    assert_eq!(objects(&[]), "c");
    let unit = read(text);
    assert_eq!(unit.off().len(), 3);
    let at = text.find("int a").unwrap_or_default() as u32;
    assert!(unit.is_off(Span { file: FileKey(0), start: at, end: at + 5 }));
}

#[test]
fn every_line_end_and_ctrl_z_are_read() {
    for end in ["\n", "\r\n", "\r"] {
        let text = "#define A \\\n 5\n/* c */\nint x = A; // rest\nf()\n{\n}\n\x0c\x1a".replace('\n', end);
        let unit = clean(&text);
        assert_eq!((value(&unit, "x"), names(&unit)), (Some(5), vec!["f"]), "{end:?}");
    }
}

#[test]
fn assembly_belongs_to_its_function_or_to_the_file() {
    let unit = clean(
        "#asm\n_start: jmp _main ; don't\n#endasm\nf()\n{\n#asm\n nop\n#endasm\n asm(\"rts\\n\" \"nop\"); return;\n}\nasm(\"even\");\n",
    );
    let texts = |list: &[Assembly]| list.iter().map(|it| it.text.to_string()).collect::<Vec<_>>();
    assert_eq!(texts(unit.assembly()), ["_start: jmp _main ; don't\n", "even"]);
    assert_eq!(texts(&unit.functions()[0].assembly), [" nop\n", "rts\nnop"]);
    assert_eq!(statements(&unit), ["assembly", "assembly", "return"]);
}

#[test]
fn tables_without_inner_braces_are_laid_out() {
    let unit = clean(
        "struct s { char c; int n; char t[3]; };\nint f(), g();\nstruct s a[] = { 'x', 1, \"ab\", 'y', 2, 3, 4, 5 };\nint m[][2] = { 1, 2, 3 };\n\
         int (*go[])() = { f, &g, 0 };\nchar s[] = \"hi\", t[2] = \"hi\", *u[] = { \"a\", \"b\" };\nint n[4] = { [2] = 7, 8 };\nstruct s b = { .n = 5 };\n",
    );
    let numbers = |name: &str| bytes(&unit, name).into_iter().map(|it| it.unwrap_or(0xEE)).collect::<Vec<u8>>();
    assert_eq!(numbers("a"), [b'x', 0, 0, 1, b'a', b'b', 0, 0, b'y', 0, 0, 2, 3, 4, 5, 0]);
    assert_eq!(numbers("m"), [0, 1, 0, 2, 0, 3, 0, 0]);
    assert_eq!((numbers("s"), numbers("t")), (b"hi\0".to_vec(), b"hi".to_vec()));
    assert_eq!(numbers("n"), [0, 0, 0, 0, 0, 7, 0, 8]);
    assert_eq!(numbers("b"), [0, 0, 0, 5, 0, 0, 0, 0]);
    let go = unit.objects().iter().find(|it| &*it.name == "go").expect("it is there");
    let pointers: Vec<Option<Pointee>> = unit.data(go).expect("data").into_iter().map(|it| it.pointer).collect();
    assert_eq!(pointers, [Some(Pointee::Name("f".into())), Some(Pointee::Name("g".into())), None]);
    assert_eq!(bytes(&unit, "u").len(), 8);
}

// From memory: compilers for the 68000 fill the unit from its highest bit on.
#[test]
fn bit_fields_share_a_word_from_its_highest_bit_on() {
    let unit = clean(
        "struct r { unsigned a : 4, b : 1, : 3, c : 8; unsigned d : 3; char e; };\nstruct r it = { 0xA, 1, 0x5C, 5, 9 };\n",
    );
    let record = unit.types().record("r").expect("it is there");
    assert_eq!(record.bytes, Some(6));
    assert_eq!(bytes(&unit, "it"), [0xA8, 0x5C, 0xA0, 0, 9, 0].map(Some));
}

#[test]
fn strings_and_pointers_take_words_that_nobody_explains() {
    let unit = clean("f() { puts(ESC \"[2J\" HOME \"x\"); }\nchar far *p;\n");
    let mut found = Vec::new();
    unit.functions()[0].expressions(&mut |it| {
        if let ExprKind::Text(text) = &it.kind {
            found.push(text.clone());
        }
    });
    assert_eq!(found, [b"[2Jx".to_vec()]);
    assert_eq!(&*unit.objects()[0].name, "p");
}

#[test]
fn a_line_that_is_a_macro_s_call_leaves_the_next_one() {
    let unit = read("VERSION(1, 2)\nint x;\nDECLARE(y)\nf() { }\n");
    assert_eq!(unit.objects().iter().map(|it| &*it.name).collect::<Vec<_>>(), ["x"]);
    assert_eq!(names(&unit), ["f"]);
}

#[test]
fn inner_names_hide_outer_ones() {
    let text = "int n; f(n) { { int n; n = 1; } n = 2; }\ng() { n = 3; }\n";
    let unit = clean(text);
    let roles: Vec<(Role, bool, Option<u32>)> = unit
        .names()
        .filter(|it| &*it.name == "n")
        .map(|it| (it.role, it.is_definition, it.declared_at.map(|it| it.start)))
        .collect();
    let inner = text.find("{ int n").unwrap_or_default() as u32 + 6;
    let told = [
        (Role::Global, true, Some(4)),
        (Role::Parameter, true, Some(9)),
        (Role::Local, true, Some(inner)),
        (Role::Local, false, Some(inner)),
        (Role::Parameter, false, Some(9)),
        (Role::Global, false, Some(4)),
    ];
    assert_eq!(roles, told);
}

#[test]
fn a_statement_without_its_semicolon_is_a_trouble_and_stays() {
    let unit = read("f() {\n\ta = 1\n\tb = 2;\n\tc d e;\n\tg();\n}\n");
    assert_eq!(statements(&unit), ["expression", "expression", "broken", "expression"]);
    assert_eq!(unit.troubles().len(), 2);
}

#[test]
fn declarators_of_every_kind_are_read() {
    let unit = clean(
        "char *(*table[2][3])(), (*f())(), *(*p)[4]; int (*signal(a, b))() int a; int (*b)(); { return b; } struct q *next, list[3];",
    );
    let ty = |name: &str| &unit.objects().iter().find(|it| &*it.name == name).expect("it is there").ty;
    assert_eq!(unit.size(ty("table")), Some(24));
    assert_eq!(unit.size(ty("p")), Some(4));
    assert_eq!(names(&unit), ["signal"]);
    assert_eq!(unit.functions()[0].parameters.len(), 2);
    assert_eq!(unit.declarations().len(), 1);
    assert_eq!(unit.size(ty("list")), None);
}
