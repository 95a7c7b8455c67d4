//! Every exception vector against the published table.
//!
//! `data/vectors.csv`: *M68000 User's Manual*, ninth edition, table 6-2 and 6.2.3; what the stacked program counter points to is from memory.

mod csv;

use reveille_cpu::{Cpu, VECTOR_COUNT, vector, vector_at};

#[test]
fn every_vector_is_as_the_manual_prints_it() {
    let mut count = 0;
    for (at, line) in include_str!("data/vectors.csv").lines().skip(1).enumerate() {
        let fields = csv::fields(line);
        let [number, number_hex, hex, address, name, group, priority, space, stacked] = fields.as_slice() else {
            panic!("{line}");
        };
        let own = vector(at as u8);
        assert_eq!(own.number.to_string(), *number);
        assert_eq!(format!("{:02X}", own.number), *number_hex);
        assert_eq!(format!("{:03X}", own.address()), *hex);
        assert_eq!(own.address().to_string(), *address);
        assert_eq!(vector_at(own.address().into()).map(|it| it.number), Some(own.number));
        assert_eq!(own.name(), *name);
        assert_eq!(own.group().map_or(String::new(), |it| it.to_string()), *group, "{line}");
        assert_eq!(own.priority(), *priority, "{line}");
        // The two of reset are fetched from program space, all others from data space.
        assert_eq!(own.is_reset(), space == "SP", "{line}");
        assert_eq!(own.stacked().text().unwrap_or(""), *stacked, "{line}");
        let is_reserved = name.contains("reserved");
        assert_eq!(own.is_reserved(Cpu::M68000), is_reserved, "{line}");
        assert_eq!(own.is_reserved(Cpu::M68010), is_reserved && own.number != 14, "{line}");
        count += 1;
    }
    assert_eq!(count, VECTOR_COUNT);
}
