//! What every form does to X N Z V C against a table of its own.
//!
//! `data/condition-codes.csv`: *M68000 Family Programmer's Reference Manual*, from memory of the manual, tested on two processor cores with
//! 1,200 random states for each of 65 instructions. `actual` stands where the manual's sign says less than what always happens.

mod csv;

use std::collections::{BTreeMap, BTreeSet};

use reveille_cpu::{Cpu, Family, Form, Instruction, Kind, Slot, instructions};

/// The name of each row and its flags. A row may name several: `ANDI/EORI/ORI to SR, MOVE to SR, RTE, STOP`.
fn rows() -> BTreeMap<String, String> {
    let mut rows = BTreeMap::new();
    for line in include_str!("data/condition-codes.csv").lines().skip(1) {
        let fields = csv::fields(line);
        let names = &fields[0];
        let flags = &fields[if fields[3].is_empty() { 2 } else { 3 }];
        assert_eq!(flags.len(), 5, "{line}");
        for name in names.split(", ") {
            let (stems, behind) = name.split_once(' ').map_or((name, String::new()), |it| (it.0, format!(" {}", it.1)));
            for stem in stems.split('/') {
                let old = rows.insert(format!("{stem}{behind}"), flags.clone());
                assert_eq!(old, None, "{stem}{behind} twice");
            }
        }
    }
    rows
}

/// The row of the table that a form belongs to.
fn row_of(instruction: &Instruction, form: &Form) -> String {
    let name = match instruction.family {
        Family::Conditions(_) => format!("{}cc", instruction.name.trim_end_matches("cc").to_uppercase()),
        Family::Single if form.slots[0] == Slot::Branch => "Bcc".into(),
        Family::Single => instruction.name.to_uppercase(),
    };
    match form.slots {
        [Slot::Status, _] => format!("{name} from SR"),
        [Slot::Conditions, _] => format!("{name} from CCR"),
        [_, Slot::Status] => format!("{name} to SR"),
        [_, Slot::Conditions] => format!("{name} to CCR"),
        [Slot::UserStack, _] | [_, Slot::UserStack] => format!("{name} USP"),
        _ => name,
    }
}

/// Of the 68010 alone (*M68000 Family Programmer's Reference Manual*, from memory): none of them changes a flag.
const OF_THE_68010: [&str; 5] = ["BKPT", "MOVE from CCR", "MOVEC", "MOVES", "RTD"];

#[test]
fn every_form_changes_the_flags_as_the_table_says() {
    let rows = rows();
    let mut used = BTreeSet::new();
    for instruction in instructions() {
        for form in instruction.forms {
            let name = row_of(instruction, form);
            if form.since == Cpu::M68010 {
                assert!(OF_THE_68010.contains(&name.as_str()), "{name}");
                assert_eq!(form.flags, "-----", "{name}");
                continue;
            }
            // ADDQ and SUBQ of an address register: their notes say none.
            let is_address = matches!(form.slots[1], Slot::Ea(kinds) if kinds.iter().eq([Kind::Address]));
            let flags = if is_address { "-----" } else { &rows[&name] };
            assert_eq!(form.flags, flags, "{name} {}", form.pattern);
            used.insert(name);
        }
    }
    let unused: Vec<_> = rows.keys().filter(|it| !used.contains(*it)).collect();
    assert!(unused.is_empty(), "rows that no form has: {unused:?}");
}
