//! Serial lines over the protocol: hovers and findings while the source is typed. Values: SCN2681 product specification, table 5.

use reveille_tests::at;
use serde_json::json;

use crate::{DISK, hover_text, opened};

const TEXT: &str = "DUART\tequ\t$F00001\t\tMC68681, 3.6864 MHz\nCRA\tequ\t4\nCSRA\tequ\t2\nACR\tequ\t8\n\
                    coninit\tlea\tDUART,a0\n\tmove.b\t#$10,CRA(a0)\n\tmove.b\t#$13,(a0)\n\tmove.b\t#$07,(a0)\n\
                    \tmove.b\t#$BB,CSRA(a0)\n\tmove.b\t#$80,ACR(a0)\n\tclr.b\tCRA(a0)\n\trts\n";

#[test]
fn a_line_s_settings_are_told_and_follow_what_is_typed() {
    let (mut client, findings) = opened(TEXT);
    let codes = |findings: &[serde_json::Value]| -> Vec<String> {
        findings.iter().filter_map(|it| Some(it["code"].as_str()?.to_owned())).collect()
    };
    assert_eq!(codes(&findings), ["serial-013"], "{findings:?}");
    for (needle, part) in [
        ("#$13", "- bits 1-0, data bits: 8"),
        ("#$BB", "is set to **9600 8N1** by `coninit`"),
        ("DUART,a0", "a register every 2 bytes"),
        ("clr.b", "**CR** of `mc68681 channel A`"),
    ] {
        let text = hover_text(&mut client, DISK, &at(TEXT, needle));
        assert!(text.contains(part), "{needle}: {text}");
    }
    // Another rate, another clock, and no read before the write: all of it by what is typed.
    let typed = TEXT.replace("#$BB", "#$CC").replace("\tclr.b\tCRA(a0)\n", "");
    client.notify(
        "textDocument/didChange",
        json!({ "textDocument": { "uri": DISK, "version": 2 }, "contentChanges": [{ "text": typed }] }),
    );
    assert_eq!(codes(&client.findings(DISK, 2).1), [""; 0]);
    let text = hover_text(&mut client, DISK, &at(&typed, "#$CC"));
    assert!(text.contains("is set to **19200 8N1**"), "{text}");
    assert_eq!(client.stop(), 0);
}
