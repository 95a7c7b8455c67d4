//! Texts that are damaged, or made to take all time and memory.

use std::time::{Duration, Instant};

use proptest::prelude::*;
use reveille_c::*;

const SAMPLES: &[&str] = &[
    include_str!("samples/monitor.c"),
    include_str!("samples/loader.c"),
    include_str!("samples/tables.c"),
    include_str!("samples/skerry.h"),
];

fn read(text: &str) -> Unit {
    let header = Text { key: FileKey(1), text: SAMPLES[3].into() };
    let mut find = |_: FileKey, name: &str, _: bool| (name == "skerry.h").then(|| header.clone());
    Unit::read(&Text { key: FileKey(0), text: text.into() }, &mut find, &Settings::default())
}

/// Everything that can be asked of a unit, with each of its spans looked at.
fn ask_all(unit: &Unit, text: &str) {
    let of = |span: Span| match span.file.0 {
        0 => text,
        _ => SAMPLES[3],
    };
    let check = |span: Span| {
        if span.file.0 < 2 {
            assert!(of(span).get(span.start as usize..span.end as usize).is_some(), "{span:?}");
        } else {
            assert_eq!(span.start, span.end);
        }
    };
    let check_expression = |it: &Expr| {
        it.visit(&mut |it| {
            check(it.span);
            let _ = (unit.value(it), unit.address(it), unit.type_of(it));
        });
    };
    for it in unit.functions() {
        assert_eq!(unit.function_at(it.name_span).is_some(), it.span.contains(it.name_span));
        let said = unit.text(it.name_span);
        assert!(said == &*it.name || said.contains('\\') || text.contains("define"), "{said}");
        check(it.span);
        it.visit(&mut |it| {
            check(it.span);
            it.expressions(&mut |it| check_expression(it));
            if let StatementKind::Declaration(objects) = &it.kind {
                objects.iter().for_each(|it| check(it.span));
            }
        });
        it.parameters.iter().for_each(|it| check(it.span));
        it.assembly.iter().for_each(|it| check(it.span));
    }
    for it in unit.objects() {
        check(it.name_span);
        check(it.span);
        if let Some(init) = &it.init {
            check(init.span());
            init.expressions(&mut |it| check_expression(it));
        }
        let size = unit.size(&it.ty);
        if let Some(data) = unit.data(it) {
            assert_eq!(Some(data.iter().map(|it| it.bytes.len() as u32).sum()), size);
            data.iter().for_each(|it| check(it.span));
        }
    }
    for it in unit.declarations() {
        check(it.span);
    }
    let has_joins = text.contains('\\');
    let mut last = None;
    for it in unit.names() {
        check(it.span);
        it.declared_at.into_iter().for_each(check);
        assert!(last < Some(it.span), "places are in order, each once");
        last = Some(it.span);
        if it.span.file.0 == 0 && !has_joins {
            assert_eq!(unit.text(it.span), &*it.name);
        }
    }
    for it in unit.defines() {
        check(it.name_span);
        check(it.body_span);
        let _ = (unit.constant(&it.name), unit.macro_expression(&it.name));
    }
    unit.troubles().iter().chain(unit.off()).for_each(|it| check(*it));
    unit.missing_includes().iter().for_each(|it| check(it.span));
    for it in &unit.types().records {
        check(it.span);
        it.fields.iter().for_each(|it| check(it.name_span));
    }
}

/// Pieces that the reader of C knows, in any order.
fn pieces() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        "{",
        "}",
        "(",
        ")",
        "[",
        "]",
        ";",
        ",",
        ":",
        "?",
        "=",
        "=+",
        "=-",
        "*",
        "&",
        "->",
        ".",
        "++",
        "#",
        "##",
        "\n#define ",
        "\n#if ",
        "\n#ifdef ",
        "\n#else\n",
        "\n#endif\n",
        "\n#undef ",
        "\n#asm\n",
        "\n#endasm\n",
        "\n#include \"skerry.h\"\n",
        "\\\n",
        "/*",
        "*/",
        "//",
        "\"",
        "'",
        "\"a\"",
        "'a'",
        "0x",
        "08",
        "1.5",
        "7",
        "int ",
        "char ",
        "struct ",
        "union ",
        "enum ",
        "typedef ",
        "static ",
        "extern ",
        "unsigned ",
        "if ",
        "else ",
        "while ",
        "for ",
        "do ",
        "switch ",
        "case ",
        "default:",
        "goto ",
        "return ",
        "break;",
        "sizeof ",
        "asm(\"nop\");",
        " a",
        " b",
        " f(x)",
        " UART",
        " ENTRY(",
        "BEGIN",
        " END",
        "\nmain()",
        "\n",
        "\r\n",
        "\u{1a}",
        "é",
        "defined ",
    ]);
    prop::collection::vec(piece, 0..120).prop_map(|it| it.concat())
}

/// A sample with some of its bytes gone, doubled or exchanged.
fn damaged() -> impl Strategy<Value = String> {
    let change = (any::<prop::sample::Index>(), 0usize..30, any::<prop::sample::Index>(), 0u8..3);
    (0..SAMPLES.len(), prop::collection::vec(change, 1..6)).prop_map(|(sample, changes)| {
        let mut text = SAMPLES[sample].to_owned();
        for (at, length, to, kind) in changes {
            let start = at.index(text.len());
            let end = (start + length).min(text.len());
            let piece = text[start..end].to_owned();
            if kind != 1 {
                text.replace_range(start..end, "");
            }
            if kind != 0 {
                let to = to.index(text.len() + 1);
                text.insert_str(to, &piece);
            }
            text.push('\n');
        }
        text
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_and_its_places_lie_in_it(text in "\\PC{0,200}") {
        ask_all(&read(&text), &text);
    }

    #[test]
    fn any_pieces_of_c_are_read(text in pieces()) {
        ask_all(&read(&text), &text);
    }

    #[test]
    fn damaged_samples_are_read(text in damaged()) {
        ask_all(&read(&text), &text);
    }
}

#[test]
fn damage_in_one_function_leaves_the_others() {
    for broken in
        ["x = (1 + ;", "if (x { y(); ", "} }", "{ {", "\"abc\n", "case 3: $$$", "switch (", "a b c d;", "= 5;"]
    {
        let text = format!(
            "before() {{ return 1; }}\n\nmiddle(x)\nint x;\n{{\n\ty();\n\t{broken}\n\tz();\n}}\n\nint after(a) {{ return 2; }}\nlast() {{ }}\n"
        );
        let unit = read(&text);
        let names: Vec<&str> = unit.functions().iter().map(|it| &*it.name).collect();
        for name in ["before", "middle", "after", "last"] {
            assert!(names.contains(&name), "{broken}: {names:?}");
        }
        let mut calls = Vec::new();
        unit.functions()[1].expressions(&mut |it| calls.extend(unit.called(it).map(str::to_owned)));
        assert!(calls.contains(&"y".to_owned()), "{broken}: {calls:?}");
    }
}

/// A thread of the server has 2 MB; two threads of work may not pass any text on.
fn in_a_thread(name: &str, text: String, limit: Duration) {
    let start = Instant::now();
    let bytes = text.len();
    let work = std::thread::Builder::new().stack_size(2 << 20).spawn(move || {
        let unit = read(&text);
        ask_all(&unit, &text);
    });
    let done = work.expect("a thread starts").join();
    assert!(done.is_ok(), "{name}");
    let took = start.elapsed();
    assert!(took < limit, "{name}: {bytes} bytes took {took:?}");
}

#[test]
fn deep_nesting_is_broken_and_does_not_end_the_thread() {
    let count = 100_000;
    let cases = [
        ("brackets", format!("int x = {}1{};", "(".repeat(count), ")".repeat(count))),
        ("open brackets", format!("f() {{ {} }}", "(".repeat(count))),
        ("blocks", format!("f() {}{}", "{".repeat(count), "}".repeat(count))),
        ("ifs", format!("f() {{ {} x; }}", "if (a) {".repeat(count))),
        ("else ifs", format!("f() {{ {} ; }}", "if (a) b(); else ".repeat(count))),
        ("sums", format!("int x = {}1;", "1+".repeat(count))),
        ("stars", format!("int {}x;", "*".repeat(count))),
        ("signs", format!("int x = {}1;", "- ".repeat(count))),
        ("casts", format!("int x = {}1;", "(int)".repeat(count))),
        ("members", format!("f() {{ x{}; }}", ".a".repeat(count))),
        ("calls", format!("f() {{ x{}; }}", "()".repeat(count))),
        ("conditions", format!("int x = {}1;", "1?1:".repeat(count))),
        ("assignments", format!("f() {{ {}1; }}", "x=".repeat(count))),
        ("lists", format!("int x[] = {}", "{".repeat(count))),
        ("records", "struct { ".repeat(count)),
        ("declarators", format!("int {}x", "(".repeat(count))),
        ("switches", format!("f() {{ {} }}", "switch (a) { case 1: ".repeat(count))),
        ("pieces of records", (0..5000).map(|it| format!("struct s{} {{ struct s{it} x; }};\n", it + 1)).collect()),
        ("commas", format!("f() {{ x{}; }}", ",x".repeat(count))),
        ("labels", format!("f() {{ {} }}", "a: ".repeat(count))),
        ("conditionals", "#if 1\n".repeat(count)),
    ];
    for (name, text) in cases {
        in_a_thread(name, text, Duration::from_secs(20));
    }
}

#[test]
fn macros_and_includes_that_grow_end() {
    let mut doubling = String::from("#define A0 x;\n#define E0 1\n");
    for it in 1..64 {
        doubling.push_str(&format!("#define A{it} A{0} A{0}\n#define E{it} (E{0} + E{0})\n", it - 1));
    }
    doubling.push_str("f() { A63 }\nint y = E63;\n#if E63\nint z;\n#endif\n");
    in_a_thread("doubling", doubling, Duration::from_secs(20));
    in_a_thread(
        "circles",
        "#define A B\n#define B A\n#define F(x) F(F(x))\nint x = A + F(F(A));\n".into(),
        Duration::from_secs(5),
    );
    in_a_thread("open calls", format!("#define F(x) if (x)\n{}", "F( ".repeat(50_000)), Duration::from_secs(20));
    let text = Text { key: FileKey(0), text: "#include \"a\"\nint x;\n#include \"a\"\n".into() };
    let itself = text.clone();
    let unit = Unit::read(&text, &mut |_, _, _| Some(itself.clone()), &Settings::default());
    assert!(!unit.missing_includes().is_empty());
}

#[test]
fn megabytes_take_time_in_proportion() {
    let small = SAMPLES[..3].concat().repeat(100);
    let large = small.repeat(8);
    let time = |text: &str| {
        let start = Instant::now();
        assert!(read(text).functions().len() > 100);
        start.elapsed()
    };
    time(&small);
    let (small, large) = (time(&small), time(&large));
    assert!(large < small * 40 + Duration::from_secs(2), "{small:?} {large:?}");
}
