//! Programs as they were written in 1984.

use reveille_c::*;

const FILES: &[(&str, &str)] = &[
    ("monitor.c", include_str!("samples/monitor.c")),
    ("loader.c", include_str!("samples/loader.c")),
    ("tables.c", include_str!("samples/tables.c")),
    ("skerry.h", include_str!("samples/skerry.h")),
];

fn file(index: usize) -> Text {
    Text { key: FileKey(index as u32), text: FILES[index].1.into() }
}

fn found(_: FileKey, name: &str, _: bool) -> Option<Text> {
    FILES.iter().position(|it| it.0 == name).map(file)
}

fn sample(index: usize) -> Unit {
    Unit::read(&file(index), &mut found, &Settings::default())
}

fn function<'a>(unit: &'a Unit, name: &str) -> &'a Function {
    unit.functions().iter().find(|it| &*it.name == name).unwrap_or_else(|| panic!("no {name}"))
}

fn object<'a>(unit: &'a Unit, name: &str) -> &'a Object {
    unit.objects().iter().find(|it| &*it.name == name && it.init.is_some()).unwrap_or_else(|| panic!("no {name}"))
}

fn texts<'a>(unit: &'a Unit, spans: impl IntoIterator<Item = &'a Span>) -> Vec<&'a str> {
    spans.into_iter().map(|it| unit.text(*it)).collect()
}

#[test]
fn nothing_in_the_samples_is_broken() {
    for (index, (name, _)) in FILES.iter().enumerate() {
        let unit = sample(index);
        assert_eq!(texts(&unit, unit.troubles()), Vec::<&str>::new(), "{name}");
        let mut broken = Vec::new();
        for it in unit.functions() {
            it.visit(&mut |it| broken.extend((it.kind == StatementKind::Broken).then_some(it.span)));
            it.expressions(&mut |it| broken.extend((it.kind == ExprKind::Broken).then_some(it.span)));
        }
        assert_eq!(texts(&unit, &broken), Vec::<&str>::new(), "{name}");
    }
}

#[test]
fn a_function_s_name_stands_where_it_is_said_to() {
    for index in 0..3 {
        let unit = sample(index);
        for it in unit.functions() {
            assert_eq!(unit.text(it.name_span), &*it.name);
            assert!(unit.text(it.span).ends_with(['}', 'D']), "{}", unit.text(it.span));
        }
        for it in unit.names() {
            assert_eq!(unit.text(it.span), &*it.name);
        }
    }
}

#[test]
fn functions_have_their_results_and_parameters() {
    let unit = sample(0);
    let names: Vec<&str> = unit.functions().iter().map(|it| &*it.name).collect();
    assert_eq!(names, ["monitor", "error", "sum"]);
    let sum = function(&unit, "sum");
    assert_eq!(sum.result, Type::Integer(Integer { bytes: 2, is_signed: false }));
    assert!(sum.is_old_style && !sum.is_static);
    let char = Type::Integer(Integer { bytes: 1, is_signed: true });
    assert_eq!(sum.parameters[0].ty, Type::Pointer(Box::new(char)));
    assert_eq!(unit.size(&sum.parameters[1].ty), Some(4));
    assert_eq!(sum.assembly.len(), 1);
    assert_eq!(&*sum.assembly[0].text, "\tmove.w\td0,_total\n\tjsr\t_flush\n");
    let loader = sample(1);
    assert!(function(&loader, "digit").is_static);
    assert_eq!(&*function(&loader, "load").assembly[0].text, "trap #1");
}

#[test]
fn a_switch_shows_its_labels_and_where_it_runs_on() {
    let unit = sample(0);
    let mut arms = Vec::new();
    function(&unit, "monitor").visit(&mut |it| {
        if let StatementKind::Switch { arms: own, .. } = &it.kind {
            for arm in own {
                let labels: Vec<&str> =
                    arm.labels.iter().map(|it| it.as_ref().map_or("default", |it| unit.text(it.span))).collect();
                let last = arm.body.last().map(|it| it.kind.clone());
                let values: Vec<Option<i64>> =
                    arm.labels.iter().flatten().map(|it| unit.value(it).map(|it| it.value)).collect();
                arms.push((labels.join(","), values, last == Some(StatementKind::Break)));
            }
        }
    });
    assert_eq!(arms[0], ("'d','D'".into(), vec![Some(100), Some(68)], true));
    assert_eq!(arms[1], ("'q'".into(), vec![Some(113)], false));
    // Control C is 3 (ASCII, ANSI X3.4).
    assert_eq!(arms[2], ("CTRL('C')".into(), vec![Some(3)], false));
    assert_eq!(arms[3].1, [Some(0)]);
    assert_eq!(arms[4].0, "default");
    assert_eq!(arms.len(), 5);
}

#[test]
fn calls_name_what_they_call_and_strings_are_joined() {
    let unit = sample(0);
    let mut calls = Vec::new();
    function(&unit, "monitor").expressions(&mut |it| {
        if let ExprKind::Call { arguments, .. } = &it.kind {
            let first = arguments.first().map(|it| it.kind.clone());
            calls.push((unit.called(it).unwrap_or("").to_owned(), first));
        }
    });
    assert_eq!(calls[0], ("puts".into(), Some(ExprKind::Text(b"tide ready\r\n".to_vec()))));
    assert_eq!(calls[1].0, "printf");
    let names: Vec<&str> = calls.iter().map(|it| &*it.0).collect();
    assert_eq!(names, ["puts", "printf", "getline", "CTRL", "dump", "error"]);
}

#[test]
fn what_a_condition_leaves_out_is_off_and_the_rest_is_read() {
    let unit = sample(0);
    assert_eq!(texts(&unit, unit.off()).concat().trim(), "It doesn't matter what stands here.");
    assert!(unit.objects().iter().any(|it| &*it.name == "line" && it.is_static));
    let missing: Vec<(&str, bool)> = unit.missing_includes().iter().map(|it| (&*it.name, it.is_system)).collect();
    assert_eq!(missing, [("stdio.h", true)]);
}

#[test]
fn macros_are_text() {
    let unit = sample(2);
    let value = |name: &str| unit.constant(name).map(|it| it.value);
    assert_eq!(value("IOBASE"), Some(0x48_0000));
    assert_eq!(value("ERROR"), Some(-1));
    assert_eq!(value("MHZ"), Some(8));
    assert_eq!(value("CTRL"), None);
    let (parameters, body) = unit.macro_expression("CTRL").unwrap();
    assert_eq!(parameters, ["c"]);
    assert_eq!(unit.text(body.span), "((c) & 31)");
    // 4 + 4 * 2, not (4 + 4) * 2.
    let rates: Vec<u16> = words(&unit.data(object(&unit, "rates")).unwrap());
    assert_eq!(rates, [300, 1200, 9600, 12, 8, 9]);
}

fn bytes(elements: &[Element]) -> Vec<Option<u8>> {
    elements.iter().flat_map(|it| it.bytes.iter().copied()).collect()
}

fn words(elements: &[Element]) -> Vec<u16> {
    bytes(elements).chunks(2).map(|it| u16::from_be_bytes([it[0].expect("a value"), it[1].expect("a value")])).collect()
}

#[test]
fn registers_have_addresses() {
    let unit = sample(0);
    let mut found = Vec::new();
    function(&unit, "monitor").expressions(&mut |it| {
        if let ExprKind::Member { of, .. } = &it.kind {
            found.push((unit.text(of.span).to_owned(), unit.address(it)));
        }
    });
    assert_eq!(found, [("UART".to_owned(), Some(0xFFC004))]);
}

#[test]
fn data_lie_as_the_68000_has_them() {
    let unit = sample(2);
    let commands = unit.data(object(&unit, "commands")).unwrap();
    assert_eq!(bytes(&commands).len(), 30);
    let pointers: Vec<&Pointee> = commands.iter().filter_map(|it| it.pointer.as_ref()).collect();
    assert_eq!(pointers[0], &Pointee::Name("dump".into()));
    assert_eq!(pointers[1], &Pointee::Text(b"dump memory".to_vec()));
    assert_eq!(pointers[3], &Pointee::Text(b"tide".to_vec()));
    // A character, a byte that fills, an address.
    assert_eq!(bytes(&commands)[..6], [Some(b'd'), Some(0), None, None, None, None]);
    assert_eq!(bytes(&commands)[10..12], [Some(6), Some(0)]);
    let messages = unit.data(object(&unit, "messages")).unwrap();
    assert_eq!(messages[1].pointer, Some(Pointee::Text(b"bad checksum".to_vec())));
    assert_eq!(messages[2].bytes, [Some(0); 4]);
    let numbers = |name: &str| -> Vec<u8> {
        bytes(&unit.data(object(&unit, name)).unwrap()).into_iter().map(|it| it.unwrap_or(0xEE)).collect()
    };
    assert_eq!(numbers("crlf"), b"\r\n\0\0");
    assert_eq!(numbers("bell"), [7, 7, 0xEE]);
    assert_eq!(words(&unit.data(object(&unit, "matrix")).unwrap()), [1, 2, 3, 4, 5, 0]);
    assert_eq!(numbers("console"), [0x13, 0, 1, 1, 2, 3, 0x25, 0x80, 0xEE, 0xEE, 0xEE, 0xEE]);
    assert_eq!(numbers("base"), [0, 0x40, 0, 0]);
    assert_eq!(unit.data(object(&unit, "where")).unwrap()[0].pointer, Some(Pointee::Name("base".into())));
}

#[test]
fn records_enums_and_typedefs_are_told() {
    let unit = sample(1);
    let port = unit.types().record("port").unwrap();
    let fields: Vec<(&str, Option<u32>)> = port.fields.iter().map(|it| (&*it.name, it.offset)).collect();
    let told = [("mode", 0), ("fill", 1), ("status", 2), ("rate", 3), ("divisor", 6), ("name", 8)];
    assert_eq!(fields, told.map(|it| (it.0, Some(it.1))));
    assert_eq!(port.bytes, Some(12));
    assert_eq!(unit.types().record("both").unwrap().bytes, Some(4));
    assert_eq!(unit.constant("LAST").map(|it| it.value), Some(8));
    assert!(unit.types().typedef("HANDLER").is_some());
    assert_eq!(
        unit.objects().iter().find(|it| &*it.name == "log").unwrap().ty,
        Type::Pointer(Box::new(Type::Named("FILE".into())))
    );
    let declared: Vec<&str> = unit.declarations().iter().map(|it| &*it.name).collect();
    assert_eq!(declared, ["dump", "fill", "load", "strchr"]);
}

#[test]
fn names_lead_to_what_they_mean() {
    let unit = sample(0);
    let text = FILES[0].1;
    let at = |needle: &str, skip: usize| {
        let (place, _) = text.match_indices(needle).nth(skip).unwrap();
        unit.name_at(FileKey(0), place as u32).unwrap_or_else(|| panic!("no name at {needle}"))
    };
    let line = |it: &NameUse| it.declared_at.map(|it| unit.text(Span { end: it.end + 6, ..it }));
    assert_eq!(at("again;", 0).role, Role::Label);
    assert_eq!(line(at("again;", 0)), Some("again:\n\t\tsw"));
    assert_eq!((at("number, c);", 0).role, at("number, c)", 0).role), (Role::Parameter, Role::Parameter));
    assert_eq!(at("quiet =+", 0).role, Role::Global);
    assert_eq!(at("n = 0", 0).role, Role::Local);
    assert_eq!(at("rate[n]", 0).role, Role::Member);
    assert_eq!(at("rate[n]", 0).declared_at.map(|it| it.file), Some(FileKey(3)));
    assert_eq!(at("BEGIN", 0).role, Role::Macro);
    assert_eq!(at("UART", 0).role, Role::Macro);
    assert_eq!(at("CTRL", 0).declared_at.map(|it| unit.text(it)), Some("CTRL"));
    assert_eq!(at("error(1", 0).role, Role::Function);
    assert_eq!(line(at("error(1", 0)), Some("error(numbe"));
    assert!(at("error(number", 0).is_definition);
    assert_eq!(at("getline", 0).role, Role::Unknown);
    let keyword = unit.names().find(|it| ["int", "for", "return", "asm"].contains(&&*it.name));
    assert_eq!(keyword, None);
}

#[test]
fn old_assignments_add() {
    let unit = sample(0);
    let mut marks = Vec::new();
    function(&unit, "sum").expressions(&mut |it| {
        if let ExprKind::Assign(mark, ..) = &it.kind {
            marks.push(*mark);
        }
    });
    assert_eq!(marks, ["+="]);
}
