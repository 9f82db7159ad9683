//! The portable C as a process: `harness.c` around it, compiled for as many channels as a test
//! asks for, with the sanitizers of the compiler.

use std::collections::HashMap;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::{LazyLock, Mutex};

use super::payload::{Hello, Status, duty, packets};

/// Longest payload the C takes, as its header says.
pub(crate) const fn longest_payload(channels: usize) -> usize {
    28 + 4 * channels + 64
}

pub(crate) fn sources() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/driver-board")
}

/// Runs a command that must succeed; what it printed.
pub(crate) fn run(command: &mut Command, who: &str) -> String {
    let output = command.output().unwrap_or_else(|error| {
        panic!("{who} is needed for this test and could not be started ({error}); see tests/run")
    });
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}:\n{text}{errors}");
    text
}

/// Compiles the harness once for each number of channels.
fn program(channels: usize) -> PathBuf {
    static DONE: LazyLock<Mutex<HashMap<usize, PathBuf>>> = LazyLock::new(Mutex::default);
    let mut done = DONE.lock().unwrap();
    let build = || {
        let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("board-{channels}"));
        // Another name while it grows: another run of this test may execute the old one.
        let growing = out.with_extension(std::process::id().to_string());
        let mut cc = Command::new("cc");
        cc.args(["-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-Wconversion", "-pedantic"]);
        cc.args(["-Werror", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"]);
        cc.arg(format!("-DCOIL_CHANNELS={channels}")).arg("-I").arg(sources());
        cc.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/board/harness.c"));
        for file in ["coil_wire.c", "coil_limit.c", "coil_link.c", "limits_store.c"] {
            cc.arg(sources().join(file));
        }
        run(cc.arg("-o").arg(&growing), "a C compiler called cc");
        std::fs::rename(&growing, &out).unwrap();
        out
    };
    done.entry(channels).or_insert_with(build).clone()
}

/// What a board is built as.
#[derive(Debug, Clone)]
pub(crate) struct Config {
    pub(crate) channels: usize,
    pub(crate) steps: u16,
    pub(crate) two_way: bool,
    pub(crate) hold_ms: u16,
    /// As the flags of HELLO: bit 1 temperature, 2 supply, 3 current, 4 flash.
    pub(crate) knows: u8,
    pub(crate) hottest_dc: i16,
    /// Window, and per channel largest code and largest mean; 0: none in flash.
    pub(crate) window_s: u16,
    pub(crate) limits: Vec<(u16, u16)>,
}

impl Config {
    pub(crate) fn new(channels: usize, steps: u16) -> Self {
        Self {
            channels,
            steps,
            two_way: false,
            hold_ms: 250,
            knows: 0b1_0000,
            hottest_dc: 700,
            window_s: 0,
            limits: vec![(0, 0); channels],
        }
    }
}

/// What the board is doing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct State {
    pub(crate) on: bool,
    pub(crate) greeted: bool,
    pub(crate) store_due: bool,
    pub(crate) hot: bool,
    pub(crate) now_ms: u32,
    pub(crate) duty: Vec<i32>,
    pub(crate) mean: Vec<u32>,
}

pub(crate) struct Board {
    child: Child,
    input: ChildStdin,
    output: ChildStdout,
    pub(crate) config: Config,
}

impl Drop for Board {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Board {
    pub(crate) fn new(config: &Config) -> Self {
        let mut child = Command::new(program(config.channels))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (input, output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let mut board = Self { child, input, output, config: config.clone() };
        board.reset();
        board
    }

    /// Starts the program anew, as a reset would.
    pub(crate) fn reset(&mut self) {
        let config = &self.config;
        let mut ask = vec![b'I'];
        ask.extend(config.steps.to_le_bytes());
        ask.push(u8::from(config.two_way));
        ask.extend(config.hold_ms.to_le_bytes());
        ask.extend(24_000_u32.to_le_bytes());
        ask.push(config.knows);
        ask.extend(config.hottest_dc.to_le_bytes());
        ask.extend(config.window_s.to_le_bytes());
        for (most, mean_most) in &config.limits {
            ask.extend(most.to_le_bytes());
            ask.extend(mean_most.to_le_bytes());
        }
        self.ask(&ask);
    }

    /// A board that a host has greeted and that has nothing left to say.
    pub(crate) fn greeted(config: &Config, hello: &Hello) -> Self {
        let mut board = Self::new(config);
        board.feed(&hello.packet());
        let answer = packets(&board.said());
        let verdict = answer.last().unwrap().2[3];
        assert_eq!(verdict, 0, "{hello:?} was refused");
        board
    }

    pub(crate) fn ask(&mut self, command: &[u8]) -> Vec<u8> {
        self.input.write_all(command).unwrap();
        let mut len = [0; 4];
        self.output.read_exact(&mut len).expect("the C stopped; its last words are above");
        let mut answer = vec![0; u32::from_le_bytes(len) as usize];
        self.output.read_exact(&mut answer).unwrap();
        answer
    }

    pub(crate) fn ask_with(&mut self, command: u8, bytes: &[u8]) -> Vec<u8> {
        let mut ask = vec![command];
        ask.extend((bytes.len() as u32).to_le_bytes());
        ask.extend_from_slice(bytes);
        self.ask(&ask)
    }

    /// How often there was something to apply.
    pub(crate) fn feed(&mut self, bytes: &[u8]) -> u32 {
        let answer = self.ask_with(b'F', bytes);
        u32::from_le_bytes(answer.try_into().unwrap())
    }

    /// Feeds a frame; whether it was taken.
    pub(crate) fn frame(&mut self, frame: u32, packing: u8, codes: &[i32]) -> bool {
        self.feed(&duty(frame, packing, codes)) == 1
    }

    /// One tick; whether it changed something.
    pub(crate) fn tick(&mut self, now_ms: u32) -> bool {
        self.ask(&[b"T".as_slice(), &now_ms.to_le_bytes()].concat()) == [1]
    }

    /// A tick each millisecond; those that changed something.
    pub(crate) fn run_until(&mut self, now_ms: u32) -> Vec<u32> {
        let answer = self.ask(&[b"U".as_slice(), &now_ms.to_le_bytes()].concat());
        answer.chunks(4).map(|four| u32::from_le_bytes(four.try_into().unwrap())).collect()
    }

    pub(crate) fn measured(&mut self, temperature: i16, supply: u16, current: u16) -> bool {
        let mut ask = vec![b'M'];
        ask.extend(temperature.to_le_bytes());
        ask.extend(supply.to_le_bytes());
        ask.extend(current.to_le_bytes());
        self.ask(&ask) == [1]
    }

    /// Everything it has to send.
    pub(crate) fn said(&mut self) -> Vec<u8> {
        self.ask(b"N")
    }

    /// Ticks on to the next STATUS, dropping what it says before.
    pub(crate) fn status(&mut self) -> Status {
        self.said();
        let now = self.state().now_ms;
        self.run_until(now.wrapping_add(100));
        let said = packets(&self.said());
        let (kind, frame, payload) = said.last().expect("a STATUS within 100 ms");
        assert_eq!(*kind, super::payload::STATUS);
        Status::read(*frame, payload)
    }

    pub(crate) fn state(&mut self) -> State {
        let answer = self.ask(b"?");
        let words: Vec<u32> = answer[4..]
            .chunks(4)
            .map(|four| u32::from_le_bytes(four.try_into().unwrap()))
            .collect();
        let channels = self.config.channels;
        State {
            on: answer[0] == 1,
            greeted: answer[1] == 1,
            store_due: answer[2] == 1,
            hot: answer[3] == 1,
            now_ms: words[0],
            duty: words[1..=channels].iter().map(|&word| word.cast_signed()).collect(),
            mean: words[channels + 1..].to_vec(),
        }
    }
}
