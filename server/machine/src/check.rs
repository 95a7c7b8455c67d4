//! What values have to do with each other.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::file::{FieldText, MachineFile, Memory};
use crate::place::{Lines, Problem, ProblemKind, Spanned};
use crate::tree::short;

/// Names that are there twice, and numbers that do not go together.
pub(crate) fn check(text: &str, file: &MachineFile, problems: &mut Vec<Problem>) {
    let mut tell = |span: &Range<usize>, message: String| {
        let kind = ProblemKind::WrongValue;
        problems.push(Problem { kind, span: span.clone(), message, related: None, fix: None });
    };
    for block in &file.blocks {
        for field in &block.fields {
            check_field(field, &mut tell);
        }
    }
    for memory in file.machines.iter().flat_map(|it| &it.memory) {
        check_memory(memory, &mut tell);
    }

    let lines = Lines::new(text);
    let mut twice = |what: &str, names: &mut dyn Iterator<Item = &Spanned<String>>| {
        let mut seen: BTreeMap<&str, &Range<usize>> = BTreeMap::new();
        for name in names {
            if let Some(first) = seen.get(name.value.as_str()) {
                let line = lines.line(first.start);
                let message =
                    format!("{what} `{}` is there already in line {line}; give each its own name", short(&name.value));
                let related = Some((*first).clone());
                problems.push(Problem {
                    kind: ProblemKind::Duplicate,
                    span: name.span.clone(),
                    message,
                    related,
                    fix: None,
                });
            } else {
                seen.insert(&name.value, &name.span);
            }
        }
    };
    for machine in &file.machines {
        twice("a memory", &mut machine.memory.iter().map(|it| &it.name));
        twice("a serial port", &mut machine.serial.iter().map(|it| &it.name));
        twice("a drive", &mut machine.drives.iter().filter_map(|it| it.name.as_ref()));
    }
    twice("a block", &mut file.blocks.iter().map(|it| &it.name));
    twice("a table with a block at", &mut file.blocks.iter().flat_map(|it| &it.at));
    for block in &file.blocks {
        twice("a field", &mut block.fields.iter().map(|it| &it.name));
    }
}

fn check_memory(memory: &Memory, tell: &mut impl FnMut(&Range<usize>, String)) {
    let room = (1 << 32) - u64::from(memory.from.value);
    if memory.size.value > room {
        let from = memory.from.value;
        let message = format!(
            "`size` is {}, expected 1 to {room} bytes: from ${from:X} on there are no more addresses",
            memory.size.value
        );
        tell(&memory.size.span, message);
    }
}

fn check_field(field: &FieldText, tell: &mut impl FnMut(&Range<usize>, String)) {
    let bytes = field.bytes.value;
    if field.is_text() {
        let numbers = [("min", &field.min), ("max", &field.max), ("must", &field.must)];
        let numbers = numbers.into_iter().filter_map(|(key, it)| Some((key, &it.as_ref()?.span)));
        for (key, span) in numbers.chain(field.values.first().map(|it| ("values", &it.number.span))) {
            tell(span, format!("`{key}` is of a field of kind `text`, expected none: only numbers have one"));
        }
        return;
    }
    // A long word is the most that the processor moves.
    if bytes > 4 {
        let message = format!("`bytes` is {bytes}, expected 1 to 4 for a number; characters need `kind = \"text\"`");
        tell(&field.bytes.span, message);
        return;
    }
    // A field is a number without sign; what does not fit in is never its value.
    let highest = (1_i64 << (8 * bytes)) - 1;
    let own = [("min", &field.min), ("max", &field.max), ("must", &field.must)];
    let own = own.into_iter().filter_map(|(key, it)| Some((key, it.as_ref()?)));
    let mut fits = true;
    for (key, number) in own.chain(field.values.iter().map(|it| ("values", &it.number))) {
        if !(0..=highest).contains(&number.value) {
            let plural = if bytes == 1 { "byte" } else { "bytes" };
            let message =
                format!("`{key}` has {}, expected 0 to {highest}: the field has {bytes} {plural}", number.value);
            tell(&number.span, message);
            fits = false;
        }
    }
    if let (Some(min), Some(max), true) = (&field.min, &field.max, fits)
        && min.value > max.value
    {
        tell(&min.span, format!("`min` is {}, expected at most `max`, which is {}", min.value, max.value));
    }
}
