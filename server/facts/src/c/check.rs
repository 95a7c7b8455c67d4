//! What does not fit between C and assembly, and between C and C.

use reveille_c::{Expr, ExprKind, Function, Role, Span, Unit as CText};
use reveille_program::{DefinitionKind, FileId, Program, Unit, definition_span};
use rustc_hash::{FxHashMap, FxHashSet};

use super::{CUnit, Convention, twins};
use crate::finding::{Edit, Evidence, Finding, Fix};

/// What is looked at: the C and the assembly of one machine.
pub(crate) struct Side<'a> {
    pub(crate) program: &'a Program,
    pub(crate) c: Vec<&'a CUnit>,
    pub(crate) units: Vec<&'a Unit>,
    pub(crate) convention: Convention,
}

/// The findings of one machine's C.
pub(crate) fn findings(side: &Side<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    for own in &side.c {
        constants(side, own, &mut found);
        labels(side, own, &mut found);
    }
    arguments(side, &mut found);
    twins::findings(side, &mut found);
    let mut seen = FxHashSet::default();
    found.retain(|it| seen.insert((it.code, it.at, it.message.clone())));
    found
}

/// Whether two numbers may be one: alike in 32 bits, or in the 16 or 8 that a negative one was written for.
fn is_same(one: i64, two: i64) -> bool {
    let alike = |mask: i64| one & mask == two & mask;
    let fits = |limit: i64| (-limit / 2..limit).contains(&one) && (-limit / 2..limit).contains(&two);
    let is_negative = (one < 0) != (two < 0);
    alike(0xffff_ffff) || is_negative && (fits(0x1_0000) && alike(0xffff) || fits(0x100) && alike(0xff))
}

/// The definition of a constant in assembly that is given its value once, and that value.
fn constant_of<'a>(side: &'a Side<'_>, name: &str) -> Option<(&'a Unit, Evidence, i64)> {
    side.units.iter().find_map(|unit| {
        let symbol = side.program.names().find(name)?;
        let found = unit.get(symbol)?;
        let once = || unit.definitions().iter().filter(|it| it.symbol == symbol).count() == 1;
        if !(found.kind == DefinitionKind::Equate || found.kind == DefinitionKind::Set && once()) {
            return None;
        }
        let place = unit.expanded_from(side.program, found.place).is_none().then_some(found.place)?;
        let at = Evidence { place, span: definition_span(side.program, place) };
        Some((*unit, at, unit.absolute(found.value)?))
    })
}

/// c-001: constants of one name with two values.
fn constants(side: &Side<'_>, own: &CUnit, found: &mut Vec<Finding>) {
    let plain = own.unit.defines().filter(|it| it.parameters.is_none() && !it.undefined);
    let defines = plain.filter_map(|it| {
        let value = own.unit.constant(&it.name)?.value;
        Some((&it.name, it.name_span, value, Some((it.body.as_str(), it.body_span))))
    });
    let enums = own.unit.types().enums.iter().flat_map(|it| &it.constants);
    let enums = enums.filter_map(|it| Some((&it.name, it.name_span, it.value?, None)));
    for (name, span, value, body) in defines.chain(enums) {
        let spelled = side.convention.assembly(name);
        let other = constant_of(side, name).or_else(|| constant_of(side, &spelled));
        let Some((_, at_other, wanted)) = other else { continue };
        let Some(at) = own.evidence(span) else { continue };
        // A header that both read is one text.
        if is_same(value, wanted) || at.place.file == at_other.place.file {
            continue;
        }
        let message = format!(
            "`{name}` is {value} (0x{value:X}) here and {wanted} (0x{wanted:X}) in the assembly; one of them is wrong"
        );
        let fix = body.and_then(|(body, span)| {
            let text = rewritten(body, wanted)?;
            let at = own.evidence(span)?;
            let title = format!("write {text}, as the assembly has it");
            Some(Fix { title, edits: vec![Edit { place: at.place, span: at.span, text }] })
        });
        let message_there = format!("{wanted} in the assembly");
        found.push(Finding::new("c-001", at, message).related(at_other, message_there).fix(fix));
    }
}

/// A value in the style of a plain number of C: its base, its digits, its ending. None if the old text is no plain number.
fn rewritten(old: &str, value: i64) -> Option<String> {
    let digits = old.trim_end_matches(['l', 'L', 'u', 'U']);
    let ending = &old[digits.len()..];
    if let Some(hex) = digits.strip_prefix("0x").or_else(|| digits.strip_prefix("0X")) {
        let is_hex = !hex.is_empty() && hex.bytes().all(|it| it.is_ascii_hexdigit());
        let width = hex.len();
        let value = value & 0xffff_ffff;
        let text = match hex.bytes().any(|it| it.is_ascii_lowercase()) {
            true => format!("{value:0width$x}"),
            false => format!("{value:0width$X}"),
        };
        return is_hex.then(|| format!("{}{text}{ending}", &digits[..2]));
    }
    let is_decimal = !digits.is_empty() && digits.bytes().all(|it| it.is_ascii_digit());
    let is_octal = digits.len() > 1 && digits.starts_with('0');
    match (is_decimal, is_octal && value >= 0) {
        (true, true) => Some(format!("0{value:o}{ending}")),
        (true, false) => Some(format!("{value}{ending}")),
        _ => None,
    }
}

/// c-003: what C calls is in the assembly, but not under the name that the linker looks for.
fn labels(side: &Side<'_>, own: &CUnit, found: &mut Vec<Finding>) {
    let mut told = FxHashSet::default();
    for it in calls(own) {
        let Some(name) = own.unit.called(it) else { continue };
        let is_foreign = is_foreign(&own.unit, name) && is_a_function(&own.unit, it, name);
        if !is_foreign || side.defines_in_c(name).is_some() || !told.insert(name) {
            continue;
        }
        let wanted = side.convention.assembly(name);
        let (other, advice) = match side.convention {
            Convention::Underscore => (name.to_owned(), format!("the linker looks for `{wanted}`")),
            Convention::Plain => (
                format!("_{name}"),
                format!("C of this program puts nothing before its names, so the linker looks for `{wanted}`"),
            ),
        };
        if side.label(&wanted).is_some() {
            continue;
        }
        let (Some(label), Some(at)) = (side.label(&other), own.evidence(it.called_span())) else { continue };
        let message = format!("`{name}` is called, and the assembly has `{other}`; {advice}, so name the label so");
        found.push(Finding::new("c-003", at, message).related(label, format!("`{other}` is here")));
    }
}

/// c-004: calls with another number of arguments than the function takes.
fn arguments(side: &Side<'_>, found: &mut Vec<Finding>) {
    // None where functions of one name do not agree.
    let mut shared: FxHashMap<&str, Option<(&CUnit, &Function)>> = FxHashMap::default();
    for own in &side.c {
        for it in own.unit.functions().iter().filter(|it| !it.is_static) {
            let entry = shared.entry(&it.name).or_insert(Some((own, it)));
            if entry.is_some_and(|known| known.1.parameters.len() != it.parameters.len()) {
                *entry = None;
            }
        }
    }
    for own in &side.c {
        for it in calls(own) {
            let ExprKind::Call { arguments, .. } = &it.kind else { continue };
            let Some(name) = own.unit.called(it).filter(|name| is_a_function(&own.unit, it, name)) else { continue };
            let local = own.unit.functions().iter().find(|it| &*it.name == name).map(|it| (*own, it));
            let target = local.or_else(|| shared.get(name).copied().flatten().filter(|_| is_foreign(&own.unit, name)));
            let Some((home, function)) = target.filter(|it| !takes_any(it.0, it.1)) else { continue };
            let (given, taken) = (arguments.len(), function.parameters.len());
            let (Some(at), Some(there)) = (own.evidence(it.called_span()), home.evidence(function.name_span)) else {
                continue;
            };
            if given != taken {
                let message = format!(
                    "`{name}` takes {} and is given {given}; give it as many as it takes",
                    if taken == 1 { "1 argument".to_owned() } else { format!("{taken} arguments") }
                );
                found.push(Finding::new("c-004", at, message).related(there, format!("`{name}` is defined here")));
            }
        }
    }
}

/// Every call in a unit's functions.
fn calls(own: &CUnit) -> Vec<&Expr> {
    let mut found = Vec::new();
    for function in own.unit.functions() {
        function.expressions(&mut |it| {
            if matches!(it.kind, ExprKind::Call { .. }) {
                found.push(it);
            }
        });
    }
    found
}

/// Whether no text of a unit defines a name, or declares it its own.
fn is_foreign(unit: &CText, name: &str) -> bool {
    !unit.functions().iter().any(|it| &*it.name == name)
        && !unit.declarations().iter().any(|it| &*it.name == name && it.is_static)
        && !unit.objects().iter().any(|it| &*it.name == name)
}

/// Whether the name that is called is no object of the function and no field: these hide the functions.
fn is_a_function(unit: &CText, call: &Expr, name: &str) -> bool {
    let span = call.called_span();
    let at = unit.name_at(span.file, span.start).filter(|it| it.span == span);
    at.is_some_and(|it| &*it.name == name && matches!(it.role, Role::Function | Role::Unknown))
}

/// Whether a function may be given more than its parameters: it says so, or reads what lies behind one of them.
fn takes_any(home: &CUnit, function: &Function) -> bool {
    let head = home.unit.text(function.span);
    if head[..head.find('{').unwrap_or(head.len())].contains("...") {
        return true;
    }
    let mut found = false;
    function.expressions(&mut |it| {
        let ExprKind::Unary("&", of) = &it.kind else { return };
        let ExprKind::Name(name) = &of.kind else { return };
        found |= function.parameters.iter().any(|it| it.name == *name);
    });
    found
}

impl Side<'_> {
    /// Where a label of the assembly is.
    fn label(&self, name: &str) -> Option<Evidence> {
        let symbol = self.program.names().find(name)?;
        let found = self.units.iter().find_map(|it| it.get(symbol))?;
        let is_label = found.kind == DefinitionKind::Label && self.program.file(found.place.file).is_some();
        is_label.then(|| Evidence { place: found.place, span: definition_span(self.program, found.place) })
    }

    /// Where C defines a name that others may use.
    pub(crate) fn defines_in_c(&self, name: &str) -> Option<(FileId, Span)> {
        self.c.iter().find_map(|own| Some((own.root, own.defines(name)?)))
    }
}

#[cfg(test)]
mod tests {
    use super::{is_same, rewritten};

    #[test]
    fn numbers_are_alike_in_the_width_they_were_written_for() {
        assert!(is_same(-1, 0xffff) && is_same(-1, 0xffff_ffff) && is_same(0xff, -1) && is_same(7, 7));
        assert!(!is_same(0x80, 0x8000) && !is_same(0xffff, 0xff) && !is_same(-2, 0xffff));
    }

    #[test]
    fn a_number_of_c_keeps_its_base_digits_and_ending() {
        assert_eq!(rewritten("0x080000L", 0x9_0000).as_deref(), Some("0x090000L"));
        assert_eq!(rewritten("0x0f", 0xab).as_deref(), Some("0xab"));
        assert_eq!(rewritten("017", 8).as_deref(), Some("010"));
        assert_eq!(rewritten("80", 40).as_deref(), Some("40"));
        assert_eq!(rewritten("(80)", 40), None);
    }
}
