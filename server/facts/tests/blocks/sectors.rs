//! Boot sectors that the source lays down as a whole.

use crate::{K720, codes};

/// A sector with a branch, a name of eight characters and a fill byte, a block, code, and what stands at its end.
fn sector(branch: &str, block: &str, end: &str) -> String {
    format!("\torg\t0\n{branch}\tdc.b\t'SKERRY12',0\nboot_bpb\tdc.b\t{block}\ngo\tmove.w\t#$2700,sr\n\trts\n{end}")
}

/// *FAT: General Overview of On-Disk Format* 1.03 (block at byte 11, signature 55 AA at 510); 68000 desktop systems' boot-sector description
/// (60 xx); MC68030 User's Manual 7.2.2 (odd code).
#[test]
fn a_boot_sector_of_the_source_is_judged_as_one_of_an_image() {
    let bra = "boot\tbra.s\tgo\n";
    let signed = "\torg\t510\n\tdc.b\t$55,$AA\n";
    assert_eq!(codes(&sector(bra, K720, signed)), [""; 0]);
    assert_eq!(codes(&sector(bra, K720, "\torg\t510\n\tdc.w\t$AA55\n")), ["boot-002"]);
    assert_eq!(codes(&sector(bra, K720, "\torg\t510\n\tdc.w\t0\n")), ["boot-015"]);
    assert_eq!(codes(&sector("boot\tdc.b\t$60,$12\n", K720, signed)), ["boot-004"]);
    assert_eq!(codes(&sector("boot\tdc.b\t$60,$1D\n", K720, signed)), ["boot-005"]);
    assert_eq!(codes(&sector("boot\tdc.b\t$EB,$1C\n", K720, signed)), ["boot-003"]);
    let none_reserved = K720.replacen("$01,$00", "$00,$00", 1);
    let found = codes(&sector(bra, &none_reserved, signed));
    assert!(found.contains(&"boot-016") && found.contains(&"fat-005"), "{found:?}");
}

#[test]
fn a_block_behind_other_code_or_data_is_no_boot_sector() {
    for before in ["\tmove.w\td0,d1\n", "\tdc.b\t1,2\n", "\tbra.s\tgo\n\tnop\n"] {
        assert_eq!(codes(&sector(before, K720, "")), [""; 0], "{before}");
    }
}
