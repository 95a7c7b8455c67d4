//! Any bytes as a volume of any geometry: read, checked, listed, put in order, its files taken out. Nothing may panic, hang or overflow.
#![no_main]

use libfuzzer_sys::fuzz_target;
use reveille_decoders::formats;
use reveille_decoders::volume::{Arrangement, Geometry, ORDERS};
use reveille_facts::image::{BootName, Question, Table, check};

fuzz_target!(|data: &[u8]| {
    let [choice, order, bytes @ ..] = data else { return };
    // A standard format, or the image's own block.
    let table = match formats().get(usize::from(*choice)) {
        Some(format) => Table::of_format(format),
        None => Table::of_image(bytes),
    };
    let Ok(table) = table else { return };
    let geometry: &Geometry = &table.geometry;
    let kind = ORDERS[usize::from(*order) % ORDERS.len()].kind;
    let Ok(arrangement) = Arrangement::new(kind, geometry) else { return };
    let volume_bytes = arrangement.from_file(bytes);
    assert_eq!(arrangement.to_file(&volume_bytes), bytes);
    let boot = BootName { name: *b"BOOT    SYS", at: None };
    let question = Question { bytes: &volume_bytes, arrangement, table: &table, boot: Some(&boot) };
    let checked = check(&question);
    for finding in &checked.findings {
        assert!(!finding.message.is_empty());
    }
    let mut clusters = 0;
    for entry in &checked.volume.entries {
        clusters += entry.clusters();
        let content = checked.volume.content(&volume_bytes, geometry, entry);
        assert!(content.len() <= volume_bytes.len());
    }
    assert!(clusters <= geometry.clusters(), "no cluster belongs to two");
});
