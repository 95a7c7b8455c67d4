//! Tests of the whole: the built program over its real standard input and output, and outside tools as judges.
//!
//! The program is looked for in `REVEILLE`, else where cargo puts it beside the tests.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
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

/// A client of the language server, over real pipes.
pub struct Client {
    child: Child,
    input: Option<ChildStdin>,
    messages: Receiver<(Instant, Value)>,
    /// Messages that came while another was waited for.
    unread: VecDeque<(Instant, Value)>,
    next_id: i64,
    /// What the server said to `initialize`.
    pub capabilities: Value,
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
        let mut client = Self::spawn();
        let folders = folder.map(|folder| json!([{ "uri": uri(folder), "name": "firmware" }]));
        let params =
            json!({ "processId": null, "rootUri": null, "capabilities": capabilities, "workspaceFolders": folders });
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
        command.arg("serve").stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::inherit());
        let mut child = command.spawn().expect("the server starts");
        let input = child.stdin.take();
        let output = child.stdout.take().expect("standard output is a pipe");
        let (send, messages) = channel();
        std::thread::spawn(move || {
            let mut output = BufReader::new(output);
            while let Some(message) = read(&mut output) {
                if send.send((Instant::now(), message)).is_err() {
                    return;
                }
            }
        });
        Self { child, input, messages, unread: VecDeque::new(), next_id: 0, capabilities: Value::Null }
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
                panic!("the server did not send it; unread: {:?}", self.unread);
            };
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

    /// Says goodbye and gives the exit code.
    pub fn stop(mut self) -> i32 {
        let answer = self.request("shutdown", Value::Null);
        assert!(answer.get("error").is_none(), "{answer}");
        self.notify("exit", Value::Null);
        self.exit_code()
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

fn read(output: &mut impl BufRead) -> Option<Value> {
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
    serde_json::from_slice(&body).ok()
}
