//! Rules over one block: its form first, then what its family says about its values.

use reveille_decoders::{Endian, FieldKind, Scalar, Template, family};
use reveille_program::{Place, Program, Unit, data_run_at};
use reveille_source::{Meaning, Operation, Span};

use crate::blocks::BlockFact;
use crate::finding::{Edit, Evidence, Finding, Fix};
use crate::fix::{line_end, set_bytes};
use crate::machine::Machine;

/// The findings of one block.
pub(crate) fn block_findings(program: &Program, machine: &Machine, unit: &Unit, fact: &BlockFact) -> Vec<Finding> {
    let mut found = Vec::new();
    if let Some(name) = &fact.unknown_layout {
        let known: Vec<_> = machine.layouts.iter().map(|it| format!("`{}`", it.name)).collect();
        let message = format!("there is no block layout `{name}`; known are {}", known.join(", "));
        found.push(Finding::new("block-101", fact.at, message));
    }
    found.extend(length(fact));
    if let Some(entries) = fact.layout.entries.filter(|it| fact.entry.0 == 0 && *it != fact.entry.1) {
        let name = program_label(program, fact);
        let message = format!(
            "`{name}` has {} blocks; the machine file says {entries}: correct the one that is wrong",
            fact.entry.1
        );
        found.push(Finding::new("block-104", fact.at, message));
    }
    if fact.entry.0 + 1 == fact.entry.1 {
        found.extend(odd_end(program, unit, fact));
    }
    if fact.shape.is_template {
        let message = format!(
            "all bytes are ${:02X}: a template that is filled in later, or a block that was never written",
            fact.bytes[0]
        );
        found.push(Finding::new("block-008", whole(fact), message));
        return found;
    }
    if fact.shape.is_swapped {
        found.push(swapped(program, fact));
        return found;
    }
    if fact.number("sectors_per_cluster") == Some(0xff) {
        let at = evidence(fact, "sectors_per_cluster");
        let message = "a cluster size of $FF marks a template that a program fills in; if this is a finished block, expected 1, 2, 4, ... 128";
        found.push(Finding::new("block-008", at, message.to_owned()));
    }
    found.extend(reserved(program, fact));
    found.extend(odd_start(unit, fact));
    found.extend(own_rules(fact));
    let Some(family) = family(&fact.layout.family) else { return found };
    if family.judges_fields {
        found.extend(implausible(fact));
    }
    for rule in &family.rules {
        if !rule.when.holds(&fact.values) {
            continue;
        }
        let mut fields = rule.fields.iter().filter(|name| !fact.evidence(name).is_empty());
        let Some(first) = fields.next() else { continue };
        let message = message(fact, &rule.message);
        let mut finding = Finding::new(&rule.code, evidence(fact, first), message);
        for name in fields {
            let value = fact.values.number(name).unwrap_or_default();
            finding = finding.related(evidence(fact, name), format!("`{name}` is {value}"));
        }
        if let Some((title, set)) = &rule.fix {
            let mut changes = Vec::new();
            for (name, formula) in set {
                if let (Some(field), Some(value)) = (fact.layout.field(name), formula.number(&fact.values)) {
                    let bytes = fact.layout.encode(field, value);
                    changes.extend(bytes.iter().enumerate().map(|(at, byte)| (field.offset + at, *byte)));
                }
            }
            finding = finding.fix(change(program, fact, title.text(&fact.values), &changes));
        }
        found.push(finding);
    }
    found
}

/// The label of a block's table.
fn program_label(program: &Program, fact: &BlockFact) -> String {
    fact.label.map_or_else(|| fact.subject.clone(), |it| program.names().text(it).to_string())
}

/// Reserved and fill bytes that are not what they must be.
fn reserved(program: &Program, fact: &BlockFact) -> Vec<Finding> {
    let values = fact.layout.fields.iter().filter_map(|it| Some((it, it.must?, fact.number(&it.name)?)));
    let wrong = values.filter(|(_, must, value)| must != value);
    let finding = |(field, must, value): (&reveille_decoders::Field, i64, i64)| {
        let name = &field.name;
        let text = format!(
            "reserved byte `{name}` is ${value:02X}; expected {must}: a value here often means that the table is shifted by a byte"
        );
        let changes: Vec<_> = fact
            .layout
            .encode(field, must)
            .into_iter()
            .enumerate()
            .map(|(at, byte)| (field.offset + at, byte))
            .collect();
        let fix = change(program, fact, format!("Set the reserved byte to {must}"), &changes);
        Finding::new("block-007", evidence(fact, name), in_table(fact, text)).fix(fix)
    };
    wrong.map(finding).collect()
}

/// Fields whose value their description does not allow.
fn implausible(fact: &BlockFact) -> Vec<Finding> {
    let values =
        fact.layout.fields.iter().filter(|it| it.must.is_none()).filter_map(|it| Some((it, fact.number(&it.name)?)));
    let wrong = values.filter(|(field, value)| !field.is_plausible(*value));
    let finding = |(field, value): (&reveille_decoders::Field, i64)| {
        let shown = if field.kind == FieldKind::Code { format!("${value:02X}") } else { value.to_string() };
        let text = format!("`{}` is {shown}; expected {}", field.name, field.expected());
        Finding::new("block-102", evidence(fact, &field.name), in_table(fact, text))
    };
    wrong.map(finding).collect()
}

/// The rules that the machine file gives a block.
fn own_rules(fact: &BlockFact) -> Vec<Finding> {
    let broken = fact.layout.rules.iter().filter(|it| it.number(&fact.values) == Some(0));
    let finding = |rule: &reveille_decoders::Formula| {
        let names = rule.names();
        let values = names.iter().filter_map(|name| match reveille_decoders::Names::value(&fact.values, name)? {
            Scalar::Number(number) => Some(format!("`{name}` is {number}")),
            Scalar::Text(text) => Some(format!("`{name}` is `{}`", text.trim_end())),
            Scalar::List(_) => None,
        });
        let values: Vec<_> = values.collect();
        let text = format!("`{}` does not hold: {}", rule.text(), values.join(", "));
        let first = names.first().map_or(fact.at, |name| evidence(fact, name));
        let mut finding = Finding::new("block-103", first, in_table(fact, text));
        for name in names.iter().skip(1) {
            finding = finding.related(evidence(fact, name), format!("`{name}`"));
        }
        finding
    };
    broken.map(finding).collect()
}

/// A block that is read by words, and lies at an odd address.
fn odd_start(unit: &Unit, fact: &BlockFact) -> Option<Finding> {
    if fact.layout.alignment < 2 || unit.is_odd(fact.address) != Some(true) {
        return None;
    }
    let text = format!(
        "`{}` lies at an odd address, and {} is read by words: the 68000 takes an address error there; put EVEN before it",
        fact.subject, fact.layout.title
    );
    Some(Finding::new("block-004", whole(fact), text))
}

/// A text with the entry's name before it, where a table has several.
fn in_table(fact: &BlockFact, text: String) -> String {
    if fact.entry.1 > 1 { format!("{}: {text}", fact.subject) } else { text }
}

fn message(fact: &BlockFact, template: &Template) -> String {
    in_table(fact, template.text(&fact.values))
}

/// The place of a field: from its first operand to its last, if they stand on one line.
pub(crate) fn evidence(fact: &BlockFact, field: &str) -> Evidence {
    joined(&fact.evidence(field)).unwrap_or(fact.at)
}

/// The first place of several, made longer by those on its line.
fn joined(places: &[Evidence]) -> Option<Evidence> {
    let first = *places.first()?;
    let end = places.iter().filter(|it| it.place == first.place).map(|it| it.span.end).max()?;
    Some(Evidence { place: first.place, span: Span { start: first.span.start, end } })
}

/// The place of a whole block: its first line's operands.
fn whole(fact: &BlockFact) -> Evidence {
    let places: Vec<_> = fact.parts.iter().map(|part| part.at).collect();
    joined(&places).unwrap_or(fact.at)
}

/// The change that gives bytes of a block other values. `changes` are places of the layout.
fn change(program: &Program, fact: &BlockFact, title: String, changes: &[(usize, u8)]) -> Option<Fix> {
    // Where a byte is missing or too many, places of the layout are not places of the table.
    if fact.shape.missing.is_some() || fact.shape.extra.is_some() {
        return None;
    }
    let moved: Vec<_> = changes.iter().map(|(at, byte)| (at + fact.items_start, *byte)).collect();
    set_bytes(program, &fact.items, &moved).map(|edits| Fix { title, edits })
}

fn length(fact: &BlockFact) -> Option<Finding> {
    let (len, name) = (fact.layout.len(), &fact.subject);
    let field_at =
        |at: usize| fact.layout.fields.iter().find(|field| (field.offset..field.offset + field.bytes).contains(&at));
    if let Some(missing) = fact.shape.missing {
        let field = field_at(missing).map_or("", |field| field.name.as_str());
        let place = if missing + 1 == len { "its end".to_owned() } else { format!("`{field}`, byte {missing}") };
        let message = format!(
            "`{name}` has {} bytes, 1 too few for {} ({len}): a byte seems to be missing at {place}; the reader takes the next byte of the ROM for it",
            len - 1,
            fact.layout.title
        );
        return Some(Finding::new("block-001", whole(fact), message));
    }
    if let Some(extra) = fact.shape.extra {
        let field = field_at(extra.min(len - 1)).map_or("", |field| field.name.as_str());
        let place = if extra == len { "at its end".to_owned() } else { format!("near `{field}`, byte {extra}") };
        let message = format!(
            "`{name}` has {} bytes, 1 too many for {} ({len}): take the byte {place} out, or every later entry is read shifted",
            len + 1,
            fact.layout.title
        );
        return Some(Finding::new("block-002", whole(fact), message));
    }
    if fact.bytes.len() < len {
        let message = format!(
            "`{name}` has {} bytes; {} needs {len}: the reader takes whatever follows for the rest",
            fact.bytes.len(),
            fact.layout.title
        );
        return Some(Finding::new("block-001", whole(fact), message));
    }
    if fact.shape.fill_bytes > 0 && fact.entry.0 == 0 && !fact.shape.is_swapped {
        let message = format!(
            "`{name}` has {} fill bytes in it, because DC.W at an odd offset is aligned; the reader of {} expects none: write its words as two bytes each",
            fact.shape.fill_bytes, fact.layout.title
        );
        return Some(Finding::new("block-002", whole(fact), message));
    }
    None
}

fn swapped(program: &Program, fact: &BlockFact) -> Finding {
    let turned = fact.layout.swapped(&fact.bytes);
    let example = fact.layout.fields.iter().find(|field| field.bytes == 2 && field.kind == FieldKind::Number);
    let value = |bytes: &[u8]| example.and_then(|field| fact.layout.decode(bytes).number(&field.name)).unwrap_or(0);
    let name = example.map_or("", |field| field.name.as_str());
    let (first, other) = match fact.layout.endian {
        Endian::Little => ("least", "most"),
        Endian::Big => ("most", "least"),
    };
    let mut message = format!(
        "`{}` is recorded with the {other} significant byte first: `{name}` reads as {}, expected {}; {} has the {first} significant byte first: exchange the bytes of each word",
        fact.subject,
        value(&fact.bytes),
        value(&turned),
        fact.layout.title
    );
    if fact.shape.fill_bytes > 0 {
        message.push_str(", and write them as bytes: DC.W at an odd offset is aligned");
    }
    let changes: Vec<_> = turned.iter().copied().enumerate().collect();
    Finding::new("block-006", whole(fact), message).fix(change(
        program,
        fact,
        "Exchange the bytes of each word".into(),
        &changes,
    ))
}

/// The block leaves the next word, long word or instruction on an odd address.
fn odd_end(program: &Program, unit: &Unit, fact: &BlockFact) -> Option<Finding> {
    let run = data_run_at(program, unit, fact.last)?;
    let len = run.items.iter().take_while(|item| item.place <= fact.last).map(|item| item.bytes.len()).sum::<usize>();
    let mut is_odd = unit.is_odd(run.address.moved(len as i64))?;
    let file = program.file(fact.last.file).filter(|it| !it.is_beside())?;
    let source = file.source();
    let first = source.first_line(fact.last.chunk as usize) + usize::from(fact.last.line);
    for number in first + 1..source.line_count() {
        if !is_odd {
            return None;
        }
        let (chunk, at) = source.chunk_of_line(number)?;
        let place = Place { file: fact.last.file, chunk: chunk as u32, line: at as u16 };
        let (_, line, text) = file.at(place.chunk, place.line);
        if !unit.is_active(place) {
            continue;
        }
        let what = match line.op.get() {
            Operation::None | Operation::Assignment => continue,
            Operation::MacroCall => return None,
            Operation::Instruction(_) => "an instruction",
            Operation::Directive(directive) => match directive.meaning {
                Meaning::Constants | Meaning::ConstantsOf(_) | Meaning::Strings(_) => {
                    let next = data_run_at(program, unit, place)?;
                    let own: Vec<_> = next.items.iter().filter(|it| it.place == place && !it.span.is_empty()).collect();
                    match own.first()?.item_bytes {
                        1 => {
                            is_odd ^= own.iter().map(|it| it.bytes.len()).sum::<usize>() % 2 == 1;
                            continue;
                        }
                        2 => "a word",
                        _ => "a long word",
                    }
                }
                Meaning::Reserve | Meaning::ReserveBytes | Meaning::Block => {
                    let bytes = if line.size == b'b' || directive.meaning == Meaning::ReserveBytes { 1 } else { 2 };
                    let count = file.at(place.chunk, place.line).0.operands(line).into_iter().next();
                    let count = count.and_then(|range| unit.value(program, place, range).number())?;
                    match (bytes, count) {
                        (1, count) => {
                            is_odd ^= count & 1 == 1;
                            continue;
                        }
                        // DS.W 0 is an alignment.
                        (_, 0) => return None,
                        _ => "reserved words",
                    }
                }
                Meaning::Equate
                | Meaning::Set
                | Meaning::RegisterName
                | Meaning::Export
                | Meaning::Import
                | Meaning::Attribute
                | Meaning::Listing
                | Meaning::Message => continue,
                _ => return None,
            },
        };
        let span = Span { start: line.operation.start, end: line.size_span().end };
        let message = format!(
            "`{}` ends at an odd address before {what}: the 68000 takes an address error there; put EVEN between them",
            fact.subject
        );
        let at = fact.parts.last().map_or(fact.at, |part| part.at);
        let finding = Finding::new("block-003", at, message)
            .related(Evidence { place, span }, format!("`{}` would lie on an odd address", text[span.range()].trim()));
        return Some(finding.fix(insert_even(program, fact.last)));
    }
    None
}

/// An EVEN on a line of its own behind a line, as the author would write it.
fn insert_even(program: &Program, last: Place) -> Option<Fix> {
    let file = program.file(last.file)?;
    let (chunk, line, text) = file.at(last.chunk, last.line);
    let operation = line.operation.of(text);
    let start = usize::from(line.operation.start);
    let indent = if line.label.is_empty() { &text[..start] } else { "\t" };
    let dot = if line.is_dotted() { "." } else { "" };
    let even = if operation.bytes().any(|it| it.is_ascii_uppercase()) { "EVEN" } else { "even" };
    let end = Span { start: line.len, end: line.len };
    let line_end = line_end(chunk, line);
    let text = format!("{line_end}{indent}{dot}{even}");
    Some(Fix { title: "Put EVEN behind the block".into(), edits: vec![Edit { place: last, span: end, text }] })
}
