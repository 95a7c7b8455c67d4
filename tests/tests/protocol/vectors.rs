//! Exception vectors over the protocol: hovers, lenses, findings. Numbers: M68000 User's Manual, ninth edition, table 6-2.

use reveille_tests::at;

use crate::{DISK, hover_text, opened, whole};

const TEXT: &str = "\torg\t0\n\tdc.l\t$80400,start\n\tdcb.l\t27,bad\n\tdc.l\ttick\n\tdcb.l\t18,bad\n\
                    start\ttrap\t#3\n\tmove.l\t#tick,$6C.w\nbad\trte\ntick\tnop\n\trts\n";

#[test]
fn vectors_are_told_in_hovers_lenses_and_findings() {
    let (mut client, findings) = opened(TEXT);
    let codes: Vec<&str> = findings.iter().filter_map(|it| it["code"].as_str()).collect();
    assert_eq!(codes, ["vector-008"], "{findings:?}");
    for (needle, part) in [
        ("tick\n\tdcb", "vector 29, level 5 interrupt autovector; address $074; handler `tick`"),
        ("trap", "vector 35, TRAP #3 instruction; address $08C; handler `bad`"),
        ("$6C.w", "vector 27, level 3 interrupt autovector; address $06C"),
        ("tick\tnop", "takes level 3 autovector (vector 27), level 5 autovector (vector 29)"),
    ] {
        let text = hover_text(&mut client, DISK, &at(TEXT, needle));
        assert!(text.contains(part), "{needle}: {text}");
    }
    let lenses = client.result("textDocument/codeLens", whole(DISK));
    let titles: Vec<&str> = lenses
        .as_array()
        .map(Vec::as_slice)
        .unwrap_or_default()
        .iter()
        .filter_map(|it| it["command"]["title"].as_str())
        .collect();
    assert_eq!(
        titles,
        [
            "reset: initial PC (vector 1)",
            "vectors 2-28, 30-47",
            "level 3 autovector (vector 27), level 5 autovector (vector 29)",
            "starts here at power-on: open the bring-up sheet"
        ]
    );
    assert_eq!(client.stop(), 0);
}
