//! The program at work on a song and files of its own, and pages that are no browser.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use serde_json::{Value, json};
use tempfile::TempDir;
use tungstenite::client::ClientRequestBuilder;
use tungstenite::{Message, WebSocket};

/// Longest wait for anything; only a test that fails waits that long.
const PATIENCE: Duration = Duration::from_secs(60);

/// `coilscore tune` on the shipped mapping and display, copied.
pub(crate) struct Program {
    child: Child,
    pub(crate) port: u16,
    pub(crate) outer: Option<String>,
    pub(crate) said: Receiver<String>,
    pub(crate) folder: TempDir,
}

/// A folder with a mapping, its display and a song: a low beat, a chord and noise, invented.
pub(crate) fn folder(display: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let presets = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("presets");
    fs::create_dir(folder.path().join("displays")).unwrap();
    let mapping = fs::read_to_string(presets.join("demo.toml")).unwrap();
    let mapping = mapping.replace("ring24", display);
    let mapping =
        if display == "grid256" { mapping.replace("\"ring\"", "\"all\"") } else { mapping };
    fs::write(folder.path().join("tide.toml"), mapping).unwrap();
    let name = format!("displays/{display}.toml");
    fs::copy(presets.join(&name), folder.path().join(&name)).unwrap();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(folder.path().join("song.wav"), spec).unwrap();
    let mut noise = 1_u32;
    for n in 0..4 * 48_000_u32 {
        let t = f64::from(n) / 48_000.0;
        let beat = (-8.0 * (t % 0.5)).exp() * (440.0 * t).sin();
        let chord = 0.2 * (3000.0 * t).sin() + 0.1 * (1300.0 * t).sin();
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let hiss = 0.1 * (f64::from(noise >> 16) / 65_536.0 - 0.5);
        wav.write_sample(((0.5 * beat + chord + hiss) * 30_000.0) as i16).unwrap();
    }
    wav.finalize().unwrap();
    folder
}

impl Program {
    pub(crate) fn start(more: &[&str]) -> Self {
        Self::start_in(folder("ring24"), more)
    }

    pub(crate) fn start_in(folder: TempDir, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_coilscore"))
            .args(["tune", "--preset", "tide.toml", "song.wav", "--page-port", "0"])
            .args(more)
            .current_dir(folder.path())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        let (tell, said) = channel();
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    return;
                }
            }
        });
        let wants_outer = more.contains(&"--open-to");
        let mut it = Self { child, port: 0, outer: None, said, folder };
        let port = it.line("the page is at http://127.0.0.1:");
        it.port = port.trim_end_matches('/').parse().unwrap();
        it.outer = wants_outer.then(|| it.line("for one other browser, once: "));
        it
    }

    /// What follows `start` in the next line that has it.
    pub(crate) fn line(&self, start: &str) -> String {
        loop {
            let line = self.said.recv_timeout(PATIENCE).unwrap_or_else(|_| panic!("no {start}"));
            if let Some((_, rest)) = line.split_once(start) {
                return rest.to_owned();
            }
        }
    }

    pub(crate) fn mapping(&self) -> String {
        fs::read_to_string(self.folder.path().join("tide.toml")).unwrap()
    }

    /// A page that enters as a browser does.
    pub(crate) fn page(&self) -> Page {
        Page::open(self.port)
    }

    pub(crate) fn wait(&mut self) -> ExitStatus {
        self.child.wait().unwrap()
    }

    /// As a power cut ends it.
    pub(crate) fn kill(mut self) -> TempDir {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        std::mem::replace(&mut self.folder, tempfile::tempdir().unwrap())
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // One that ended already cannot be ended.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Bytes to the server, and all that it answers until it closes.
pub(crate) fn raw(port: u16, request: &[u8]) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    // The server may answer and close before it has all of it.
    let _ = stream.write_all(request);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

/// A numbered look: frame, number of the edit, and duties.
#[derive(Debug, Clone)]
pub(crate) struct Look {
    pub(crate) edit: u32,
    pub(crate) frame: u32,
    pub(crate) late: u32,
    pub(crate) duty: Vec<f32>,
    pub(crate) node_c: Vec<f32>,
}

fn look(bytes: &[u8]) -> Look {
    let short = |at: usize| usize::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]));
    let long = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let floats = |first: usize, count: usize| {
        let from = 44 + 4 * first;
        let each = bytes[from..from + 4 * count].chunks_exact(4);
        each.map(|it| f32::from_le_bytes(it.try_into().unwrap())).collect()
    };
    let (coils, nodes) = (short(2), short(10));
    let (duty, node_c) = (floats(0, coils), floats(6 * coils, nodes));
    Look { edit: long(12), frame: long(16), late: long(28), duty, node_c }
}

/// The other end of a conversation.
pub(crate) struct Page {
    pub(crate) socket: WebSocket<TcpStream>,
    next: u64,
    pub(crate) standing: Value,
    pub(crate) notices: Vec<String>,
    pub(crate) number: u64,
}

impl Page {
    fn open(port: u16) -> Self {
        let origin = format!("http://127.0.0.1:{port}");
        let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let uri = format!("ws://127.0.0.1:{port}/talk").parse().unwrap();
        let request = ClientRequestBuilder::new(uri).with_header("Origin", origin);
        let (socket, _) = tungstenite::client(request, stream).unwrap();
        let mut page = Self { socket, next: 1, standing: Value::Null, notices: vec![], number: 0 };
        while page.number == 0 || page.standing.is_null() || page.standing["pages"] == 0 {
            page.hear();
        }
        page
    }

    /// One message; `Some` for answers.
    fn hear(&mut self) -> Option<Value> {
        let Message::Text(text) = self.socket.read().unwrap() else { return None };
        // The first standing is empty until there is one.
        let message: Value = serde_json::from_str(&text).unwrap_or_default();
        match message["kind"].as_str() {
            Some("you") => self.number = message["page"].as_u64().unwrap(),
            Some("standing") => self.standing = message,
            Some("notice") => self.notices.push(message["text"].as_str().unwrap().to_owned()),
            Some("answer") => return Some(message),
            _ => {}
        }
        None
    }

    /// Says something and waits for its answer.
    pub(crate) fn say(&mut self, mut what: Value) -> Result<(), String> {
        what["id"] = self.next.into();
        self.next += 1;
        self.socket.send(Message::text(what.to_string())).unwrap();
        loop {
            let Some(answer) = self.hear() else { continue };
            if answer["id"] == what["id"] || answer["id"] == 0 {
                let refused = || answer["sentence"].as_str().unwrap_or_default().to_owned();
                return if answer["ok"] == true { Ok(()) } else { Err(refused()) };
            }
        }
    }

    pub(crate) fn act(&mut self, act: Value) -> Result<(), String> {
        self.say(json!({ "act": act }))
    }

    /// The next look.
    pub(crate) fn look(&mut self) -> Look {
        loop {
            match self.socket.read().unwrap() {
                Message::Binary(bytes) => return look(&bytes),
                Message::Text(text) => {
                    let message: Value = serde_json::from_str(&text).unwrap();
                    if message["kind"] == "standing" {
                        self.standing = message;
                    } else if message["kind"] == "notice" {
                        self.notices.push(message["text"].as_str().unwrap().to_owned());
                    }
                }
                _ => {}
            }
        }
    }

    /// Waits until the standing is so.
    pub(crate) fn until(&mut self, what: &str, is_so: impl Fn(&Value) -> bool) {
        let mut heard = 0;
        while !is_so(&self.standing) {
            self.hear();
            heard += 1;
            assert!(heard < 20_000, "never: {what}: {}", self.standing);
        }
    }

    /// Waits until a notice has this in it.
    pub(crate) fn noticed(&mut self, what: &str) {
        let mut heard = 0;
        while !self.notices.iter().any(|notice| notice.contains(what)) {
            self.hear();
            heard += 1;
            assert!(heard < 20_000, "never said: {what}: {:?}", self.notices);
        }
    }
}
