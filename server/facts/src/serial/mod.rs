//! Serial ports of a program: which chips it has, what it sets their lines to, and what is wrong with that.

mod code;
mod constants;
mod fact;
mod families;
mod findings;
mod ports;
mod table;

use reveille_program::{Program, Unit};

use code::Done;
pub use fact::{Form, LineFact, RegisterUse, RegisterWrite};
pub use families::{FamilyFact, Member, Selects};
pub(crate) use findings::machine_findings;
pub use ports::{Clock, ClockFrom, Port};
pub(crate) use ports::{NamedRegisters, ports};

use crate::access::Access;
use crate::finding::Finding;

/// What is known of the serial ports of a unit.
#[derive(Debug, Default)]
pub(crate) struct SerialFacts {
    pub(crate) ports: Vec<Port>,
    pub(crate) lines: Vec<LineFact>,
    pub(crate) uses: Vec<RegisterUse>,
    pub(crate) families: Vec<FamilyFact>,
}

/// The lines and constants of a unit, and what is wrong. `accesses` has those to all ports at least.
pub(crate) fn serial(
    program: &Program,
    unit: &Unit,
    named: &NamedRegisters,
    ports: Vec<Port>,
    accesses: &[Access],
) -> (SerialFacts, Vec<Finding>) {
    let families = families::families(program, unit, &ports);
    let Done { mut lines, uses, findings: mut found } = code::code(program, unit, &ports, named, accesses);
    let tables = table::tables(program, unit, &ports, named);
    // A table that code has sent to the chip, value by value, has been told of by that code.
    let is_sent = |table: &LineFact| {
        lines.iter().any(|it| it.form == Form::Code && it.writes.iter().any(|write| write.value_at == Some(table.at)))
    };
    let tables: Vec<LineFact> = tables.into_iter().filter(|it| !is_sent(it)).collect();
    lines.extend(tables);
    lines.extend(constants::constants(program, unit, &ports));
    for line in &lines {
        found.extend(findings::line_findings(line));
    }
    found.extend(findings::contradictions(&lines));
    found.extend(families::family_findings(&families));
    (SerialFacts { ports, lines, uses, families }, found)
}
