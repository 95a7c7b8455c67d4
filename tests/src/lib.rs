//! Tests of the whole: the built program over its real standard input and output, and outside tools as judges.
//!
//! The program is looked for in `REVEILLE`, else where cargo puts it beside the tests.

pub mod machine;
pub mod skerry;

use std::collections::{BTreeMap, VecDeque};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// How long an answer may take before a test fails.
const PATIENCE: Duration = Duration::from_secs(60);

/// The built program.
///
/// # Panics
/// If it is not built: `cargo build -p reveille` builds it.
#[must_use]
pub fn program() -> PathBuf {
    if let Some(path) = std::env::var_os("REVEILLE") {
        return path.into();
    }
    let test = std::env::current_exe().expect("a running test has a path");
    let folders = test.ancestors().skip(1).take(3);
    let found = folders.map(|folder| folder.join("reveille")).find(|path| path.is_file());
    found.expect("the program is not built: run `cargo build -p reveille`, or name it in REVEILLE")
}

/// The folder of the tests in the repository.
#[must_use]
pub fn tests_folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// What a run of the program gave.
#[derive(Debug)]
pub struct Output {
    /// The exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs the program in a folder.
///
/// # Panics
/// If it cannot be started.
#[must_use]
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    let output = Command::new(program()).args(arguments).current_dir(folder).stdin(Stdio::null()).output();
    let output = output.expect("the program starts");
    Output {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// Runs an outside tool and gives what it printed. Its exit code has to be 0.
///
/// # Panics
/// If it is not installed, or fails.
#[must_use]
pub fn tool(name: &str, arguments: &[&str]) -> String {
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    let mut shell = Command::new("sh");
    shell.arg("-c").arg("exec \"$0\" \"$@\"").arg(name).args(arguments).env("PATH", path);
    let output = shell.output().expect("the shell starts");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let printed = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_ne!(output.status.code(), Some(127), "{name} is missing: run tests/install-tools.sh system");
    assert!(output.status.success(), "{name} {arguments:?}: {said}{printed}");
    printed
}

/// Makes the image of a standard format as its `made_with` says.
///
/// # Panics
/// If the tool is not known, not installed, or fails.
pub fn make_image(image: &Path, made_with: &str) {
    let image_name = image.to_str().expect("a temporary path is text");
    let mut words = made_with.split_whitespace();
    match words.next() {
        Some("mformat") => {
            // A remark in brackets is none of the tool's words.
            let words: Vec<&str> = words.take_while(|word| !word.starts_with('(')).collect();
            let _ = tool("mformat", &[&words[..], &["-C", "-i", image_name, "::"]].concat());
        }
        Some("mkfs.fat") => {
            let words: Vec<&str> = words.collect();
            let (kib, options) = words.split_last().expect("mkfs.fat is given a size");
            let kib = kib.trim_matches(['(', ')']);
            let _ = tool("mkfs.fat", &[options, &["-C", image_name, kib]].concat());
        }
        other => panic!("unknown tool {other:?}"),
    }
}

/// A client of the language server, over real pipes.
pub struct Client {
    child: Child,
    input: Option<ChildStdin>,
    messages: Receiver<(Instant, Value)>,
    /// Messages that came while another was waited for.
    unread: VecDeque<(Instant, Value)>,
    next_id: i64,
    /// What the server wrote to standard error.
    log: Arc<Mutex<String>>,
    /// What was published last for each document: its version and its findings.
    pub published: BTreeMap<String, (Option<i64>, Vec<Value>)>,
    /// What the server said to `initialize`.
    pub capabilities: Value,
}

/// A folder with files.
///
/// # Panics
/// If it cannot be made.
#[must_use]
pub fn folder(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, bytes) in files {
        std::fs::write(folder.path().join(name), bytes).expect("the folder can be written to");
    }
    folder
}

/// The bytes of a file of a folder.
///
/// # Panics
/// If it is not there.
#[must_use]
pub fn file(folder: &Path, name: &str) -> Vec<u8> {
    std::fs::read(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The names of all files of a folder.
///
/// # Panics
/// If the folder cannot be read.
#[must_use]
pub fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("a folder can be read").filter_map(Result::ok);
    let mut names: Vec<String> = entries.map(|it| it.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The address of a path.
#[must_use]
pub fn uri(path: &Path) -> String {
    let mut uri = String::from("file://");
    for byte in path.to_string_lossy().bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            uri.push(char::from(byte));
        } else {
            uri.push_str(&format!("%{byte:02X}"));
        }
    }
    uri
}

/// The position of a byte of a text in UTF-16; lines end with LF.
#[must_use]
pub fn position(text: &str, byte: usize) -> Value {
    position_in(text, byte, "utf-16")
}

/// The position of a byte of a text in an encoding of the protocol; lines end with LF.
#[must_use]
pub fn position_in(text: &str, byte: usize, encoding: &str) -> Value {
    let before = &text[..byte];
    let own = &before[before.rfind('\n').map_or(0, |at| at + 1)..];
    let character = match encoding {
        "utf-8" => own.len(),
        "utf-32" => own.chars().count(),
        _ => own.encode_utf16().count(),
    };
    json!({ "line": before.matches('\n').count(), "character": character })
}

/// The byte at a UTF-16 position of a text whose lines end with LF.
///
/// # Panics
/// If the position is none.
#[must_use]
pub fn byte(text: &str, position: &Value) -> usize {
    let number = |name: &str| position[name].as_u64().expect("a position has numbers") as usize;
    let start: usize = text.split_inclusive('\n').take(number("line")).map(str::len).sum();
    let mut left = number("character");
    let mut at = start;
    for character in text[start..].chars().take_while(|it| *it != '\n') {
        if left == 0 {
            break;
        }
        left = left.checked_sub(character.len_utf16()).expect("a position is no half of a character");
        at += character.len_utf8();
    }
    assert_eq!(left, 0, "{position} is past the end of its line");
    at
}

/// The position of the first place of `needle` in a text, in UTF-16.
///
/// # Panics
/// If it is not there.
#[must_use]
pub fn at(text: &str, needle: &str) -> Value {
    position(text, text.find(needle).unwrap_or_else(|| panic!("`{needle}` is not in the text")))
}

/// The part of a text that a range of the protocol spans.
#[must_use]
pub fn within<'a>(text: &'a str, range: &Value) -> &'a str {
    &text[byte(text, &range["start"])..byte(text, &range["end"])]
}

/// A text after edits of the protocol, none of which overlap.
///
/// # Panics
/// If they do.
#[must_use]
pub fn edited(text: &str, edits: &[Value]) -> String {
    let place = |edit: &Value| (byte(text, &edit["range"]["start"]), byte(text, &edit["range"]["end"]));
    let mut edits: Vec<&Value> = edits.iter().collect();
    edits.sort_by_key(|edit| place(edit));
    let (mut result, mut done) = (String::new(), 0);
    for edit in edits {
        let (start, end) = place(edit);
        assert!(done <= start && start <= end, "edits overlap");
        result.push_str(&text[done..start]);
        result.push_str(edit["newText"].as_str().expect("an edit has its text"));
        done = end;
    }
    result + &text[done..]
}

/// What an editor offers that knows much: the capabilities that answers depend on.
#[must_use]
pub fn capabilities(encoding: &str) -> Value {
    json!({
        "general": { "positionEncodings": [encoding] },
        "textDocument": {
            "hover": { "contentFormat": ["markdown", "plaintext"] },
            "documentSymbol": { "hierarchicalDocumentSymbolSupport": true },
            "publishDiagnostics": { "relatedInformation": true },
        },
    })
}

impl Client {
    /// Starts the server and initializes it.
    ///
    /// # Panics
    /// If the server does not start or does not answer.
    #[must_use]
    pub fn start(folder: Option<&Path>, capabilities: &Value) -> Self {
        Self::start_with(folder, capabilities, json!(null))
    }

    /// Starts the server with options of the client.
    ///
    /// # Panics
    /// If it does not start, or does not answer.
    #[must_use]
    pub fn start_with(folder: Option<&Path>, capabilities: &Value, options: Value) -> Self {
        let mut client = Self::spawn();
        let folders = folder.map(|folder| json!([{ "uri": uri(folder), "name": "firmware" }]));
        let mut params =
            json!({ "processId": null, "rootUri": null, "capabilities": capabilities, "workspaceFolders": folders });
        if !options.is_null() {
            params["initializationOptions"] = options;
        }
        let answer = client.request("initialize", params);
        client.capabilities = answer["result"]["capabilities"].clone();
        client.notify("initialized", json!({}));
        client
    }

    /// Starts the server and says nothing to it.
    ///
    /// # Panics
    /// If it does not start.
    #[must_use]
    pub fn spawn() -> Self {
        let mut command = Command::new(program());
        command.arg("serve").stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the server starts");
        let input = child.stdin.take();
        let log = Arc::new(Mutex::new(String::new()));
        if let Some(errors) = child.stderr.take() {
            let log = log.clone();
            std::thread::spawn(move || {
                for line in BufReader::new(errors).lines().map_while(Result::ok) {
                    let mut log = log.lock().unwrap_or_else(PoisonError::into_inner);
                    log.push_str(&line);
                    log.push('\n');
                }
            });
        }
        let output = child.stdout.take().expect("standard output is a pipe");
        let (send, messages) = channel();
        std::thread::spawn(move || {
            let mut output = BufReader::new(output);
            while let Some(message) = read(&mut output) {
                if send.send(message).is_err() {
                    return;
                }
            }
        });
        let (unread, published) = (VecDeque::new(), BTreeMap::new());
        Self { child, input, messages, unread, next_id: 0, log, published, capabilities: Value::Null }
    }

    /// Writes bytes as they are.
    ///
    /// # Panics
    /// If the server's input is closed.
    pub fn write(&mut self, bytes: &[u8]) {
        let input = self.input.as_mut().expect("the server's input is open");
        input.write_all(bytes).and_then(|()| input.flush()).expect("the server reads");
    }

    /// Sends a message.
    pub fn send(&mut self, message: &Value) {
        let body = message.to_string();
        self.write(format!("Content-Length: {}\r\n\r\n{body}", body.len()).as_bytes());
    }

    /// Sends a notification.
    pub fn notify(&mut self, method: &str, params: Value) {
        self.send(&json!({ "jsonrpc": "2.0", "method": method, "params": params }));
    }

    /// Sends a request and does not wait; gives its number.
    pub fn post(&mut self, method: &str, params: Value) -> i64 {
        self.next_id += 1;
        self.send(&json!({ "jsonrpc": "2.0", "id": self.next_id, "method": method, "params": params }));
        self.next_id
    }

    /// Sends a request and waits for the whole answer.
    pub fn request(&mut self, method: &str, params: Value) -> Value {
        let id = self.post(method, params);
        self.answer(id)
    }

    /// Waits for the answer to a request.
    pub fn answer(&mut self, id: i64) -> Value {
        self.wait(|message| message["id"] == json!(id) && message.get("method").is_none()).1
    }

    /// Sends a request and waits; gives the time to the answer, and the answer.
    pub fn timed(&mut self, method: &str, params: Value) -> (Duration, Value) {
        let begin = Instant::now();
        let id = self.post(method, params);
        let (at, answer) = self.wait(|message| message["id"] == json!(id) && message.get("method").is_none());
        (at - begin, answer)
    }

    /// The result of a request.
    ///
    /// # Panics
    /// If the answer is an error.
    pub fn result(&mut self, method: &str, params: Value) -> Value {
        let answer = self.request(method, params);
        assert!(answer.get("error").is_none(), "{method}: {answer}");
        answer["result"].clone()
    }

    /// Waits for a message. Requests of the server are answered with nothing on the way.
    ///
    /// # Panics
    /// If it does not come in time.
    pub fn wait(&mut self, is_it: impl Fn(&Value) -> bool) -> (Instant, Value) {
        if let Some(at) = self.unread.iter().position(|it| is_it(&it.1)) {
            return self.unread.remove(at).expect("the place was just found");
        }
        let end = Instant::now() + PATIENCE;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            let Ok((at, message)) = self.messages.recv_timeout(left) else {
                panic!("the server did not send it; unread: {:?}; its log: {}", self.unread, self.log());
            };
            if message["method"] == "textDocument/publishDiagnostics" {
                let params = &message["params"];
                let findings = params["diagnostics"].as_array().cloned().unwrap_or_default();
                let uri = params["uri"].as_str().unwrap_or_default().to_owned();
                self.published.insert(uri, (params["version"].as_i64(), findings));
            }
            if message.get("method").is_some() && message.get("id").is_some() {
                let answer = json!({ "jsonrpc": "2.0", "id": message["id"], "result": null });
                self.send(&answer);
            }
            if is_it(&message) {
                return (at, message);
            }
            self.unread.push_back((at, message));
        }
    }

    /// Opens a document.
    pub fn open(&mut self, uri: &str, text: &str) {
        let document = json!({ "uri": uri, "languageId": "m68k", "version": 1, "text": text });
        self.notify("textDocument/didOpen", json!({ "textDocument": document }));
    }

    /// Changes a range of a document.
    pub fn change(&mut self, uri: &str, version: i64, range: Value, text: &str) {
        let change = if range.is_null() { json!({ "text": text }) } else { json!({ "range": range, "text": text }) };
        let params = json!({ "textDocument": { "uri": uri, "version": version }, "contentChanges": [change] });
        self.notify("textDocument/didChange", params);
    }

    /// Waits for the findings of a version of a document.
    pub fn findings(&mut self, uri: &str, version: i64) -> (Instant, Vec<Value>) {
        let (at, message) = self.wait(|message| {
            message["method"] == "textDocument/publishDiagnostics"
                && message["params"]["uri"] == uri
                && message["params"]["version"] == json!(version)
        });
        (at, message["params"]["diagnostics"].as_array().cloned().unwrap_or_default())
    }

    /// Waits until everything is published that follows from what was sent before, and gives it: [`Client::published`].
    ///
    /// Findings are published round by round. The first change of the fence comes back in the round of what was sent before or
    /// a later one, the second in a round of its own; between them that round is over.
    pub fn settle(&mut self) -> &BTreeMap<String, (Option<i64>, Vec<Value>)> {
        const FENCE: &str = "untitled:fence";
        self.open(FENCE, "* 1\n");
        let _ = self.findings(FENCE, 1);
        self.change(FENCE, 2, Value::Null, "* 2\n");
        let _ = self.findings(FENCE, 2);
        self.notify("textDocument/didClose", json!({ "textDocument": { "uri": FENCE } }));
        self.published.remove(FENCE);
        &self.published
    }

    /// What the server has written to standard error so far.
    #[must_use]
    pub fn log(&self) -> String {
        self.log.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Says goodbye and gives the exit code.
    ///
    /// # Panics
    /// If something in the server panicked meanwhile.
    pub fn stop(mut self) -> i32 {
        let answer = self.request("shutdown", Value::Null);
        assert!(answer.get("error").is_none(), "{answer}");
        self.notify("exit", Value::Null);
        let code = self.exit_code();
        let log = self.log();
        assert!(!log.contains("panicked"), "{log}");
        code
    }

    /// Closes the server's input.
    pub fn hang_up(&mut self) {
        self.input = None;
    }

    /// The server's process number.
    #[must_use]
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Waits for the server's end.
    ///
    /// # Panics
    /// If it does not end within ten seconds.
    pub fn exit_code(&mut self) -> i32 {
        let end = Instant::now() + Duration::from_secs(10);
        loop {
            if let Ok(Some(status)) = self.child.try_wait() {
                return status.code().unwrap_or(-1);
            }
            assert!(Instant::now() < end, "the server does not end");
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The next message, and when it was there; what reading it costs the client is not the server's.
fn read(output: &mut impl BufRead) -> Option<(Instant, Value)> {
    let mut length = 0;
    loop {
        let mut line = String::new();
        if output.read_line(&mut line).ok()? == 0 {
            return None;
        }
        let line = line.trim();
        if line.is_empty() {
            break;
        }
        if let Some(number) = line.to_ascii_lowercase().strip_prefix("content-length:") {
            length = number.trim().parse().ok()?;
        }
    }
    let mut body = vec![0; length];
    output.read_exact(&mut body).ok()?;
    let at = Instant::now();
    Some((at, serde_json::from_slice(&body).ok()?))
}
