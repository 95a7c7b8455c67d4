//! Each request and notification that the server offers, over its real standard input and output.

mod c;
mod documents;
mod layout;
mod life;
mod machine;
mod mending;
mod questions;
mod renaming;
mod serial;
mod session;
mod sheet;
mod structure;
mod vectors;

use std::path::Path;

use reveille_tests::{Client, capabilities, uri};
use serde_json::{Value, json};

const DISK: &str = "untitled:disk.s";

/// A driver with one sound table, a macro and a local label.
const TEXT: &str = "\
*	disk driver
CYLS	EQU	80		cylinders
STEP	MACRO
	addq.w	#1,\\1
	ENDM
	org	$1000
start	move.w	#CYLS,d0	how many
	STEP	d0
	lea	ship_bpb(pc),a0
.again	subq.w	#1,d0
	bne.s	.again
	rts
*	disk format, as shipped
ship_bpb
	dc.b	$00,$02,$02,$01,$00,$02,$70,$00,$A0,$05,$F9,$03,$00
	dc.b	$09,$00,$02,$00,$00,$00
	even
	end
";

fn client() -> Client {
    Client::start(None, &capabilities("utf-16"))
}

fn place(uri: &str, position: &Value) -> Value {
    json!({ "textDocument": { "uri": uri }, "position": position })
}

fn whole(uri: &str) -> Value {
    json!({ "textDocument": { "uri": uri } })
}

/// The client with a text open and its findings there.
fn opened(text: &str) -> (Client, Vec<Value>) {
    let mut client = client();
    client.open(DISK, text);
    let findings = client.findings(DISK, 1).1;
    (client, findings)
}

fn hover(client: &mut Client, uri: &str, position: &Value) -> Value {
    client.result("textDocument/hover", place(uri, position))
}

fn hover_text(client: &mut Client, uri: &str, position: &Value) -> String {
    hover(client, uri, position)["contents"]["value"].as_str().unwrap_or_default().to_owned()
}

fn codes(findings: &[Value]) -> Vec<&str> {
    findings.iter().map(|it| it["code"].as_str().unwrap_or_default()).collect()
}

fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::create_dir_all(path.parent().unwrap_or(folder)).expect("folders can be made");
    std::fs::write(&path, text).expect("the folder can be written to");
    uri(&path)
}
