//! The board's program on an emulated processor: `qemu-system-arm`, whose machine `netduinoplus2`
//! has the same microcontroller. USART3 is the line, UART5 tells what was applied. Nothing here
//! waits for luck: whatever is awaited comes, or the test fails after a minute.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use tempfile::TempDir;

use super::build::build;
use super::payload::{HELLO, Hello, STATUS, Status};
use coilscore::frame::wire::Decoder;

const PATIENCE: Duration = Duration::from_secs(60);

/// One at a time: two emulators and a compiler would starve each other.
static ONE: Mutex<()> = Mutex::new(());

/// Something the board applied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Applied {
    pub(crate) on: bool,
    pub(crate) frame: u32,
    pub(crate) ms: u32,
    pub(crate) codes: Vec<i32>,
}

impl Applied {
    fn read(line: &str) -> Self {
        let mut words = line.split_whitespace();
        let on = match words.next() {
            Some("F") => true,
            Some("O") => false,
            _ => panic!("no line of the trace: {line:?}"),
        };
        let mut numbers = words.map(|word| u32::from_str_radix(word, 16).unwrap());
        let (frame, ms) = (numbers.next().unwrap(), numbers.next().unwrap());
        Self { on, frame, ms, codes: numbers.map(u32::cast_signed).collect() }
    }
}

/// What carries the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Line {
    /// A socket, which holds thousands of frames ahead.
    Socket,
    /// A pseudo-terminal, which is what a program opens as a serial line.
    Terminal,
    /// The same, for a program that is to read it alone.
    #[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "no program to connect"))]
    Program,
}

pub(crate) struct Emulator {
    child: Child,
    dir: TempDir,
    applied: Receiver<Applied>,
    said: Receiver<(u8, u32, Vec<u8>)>,
    /// The line's far end, where the test has it.
    line: Option<File>,
    /// The name to open, of a terminal.
    pub(crate) terminal: PathBuf,
    _one: std::sync::MutexGuard<'static, ()>,
}

impl Drop for Emulator {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Emulator {
    pub(crate) fn start(over: Line) -> Self {
        let one = ONE.lock().unwrap_or_else(PoisonError::into_inner);
        let dir = tempfile::tempdir().unwrap();
        build(true, dir.path());
        let (line_path, tell_path) = (dir.path().join("line"), dir.path().join("tell"));
        let (line_accept, tell_accept) = (listen(&line_path), listen(&tell_path));
        let socket = |id: &str, path: &Path| format!("socket,id={id},path={}", path.display());
        let mut qemu = Command::new("qemu-system-arm");
        qemu.args(["-M", "netduinoplus2", "-display", "none", "-monitor", "none", "-kernel"]);
        qemu.arg(dir.path().join("trace.elf"));
        qemu.args(["-d", "unimp", "-D"]).arg(dir.path().join("writes.log"));
        qemu.args(["-chardev", &socket("tell", &tell_path), "-chardev"]);
        qemu.arg(if over == Line::Socket {
            socket("line", &line_path)
        } else {
            "pty,id=line".into()
        });
        for serial in ["null", "null", "chardev:line", "null", "chardev:tell"] {
            qemu.args(["-serial", serial]);
        }
        let mut child =
            qemu.stdin(Stdio::null()).stdout(Stdio::piped()).spawn().unwrap_or_else(|error| {
                panic!("qemu-system-arm is needed and did not start ({error}); see tests/run")
            });
        let stdout = child.stdout.take().unwrap();
        let (line, terminal) = match over {
            Line::Socket => {
                let stream = line_accept.recv_timeout(PATIENCE).expect("the emulator's line");
                (Some(File::from(std::os::fd::OwnedFd::from(stream))), PathBuf::new())
            }
            Line::Terminal => {
                let name = terminal_name(stdout);
                (Some(File::options().read(true).write(true).open(&name).unwrap()), name)
            }
            Line::Program => (None, terminal_name(stdout)),
        };
        let tell = tell_accept.recv_timeout(PATIENCE).expect("the emulator's second line");
        let (say, applied) = channel();
        thread::spawn(move || read_trace(tell, &say));
        let (say, said) = channel();
        if let Some(line) = &line {
            let reader = line.try_clone().unwrap();
            thread::spawn(move || read_packets(reader, &say));
        }
        Self { child, dir, applied, said, line, terminal, _one: one }
    }

    /// Sends from another thread: the emulator takes bytes when it likes.
    pub(crate) fn send(&self, bytes: Vec<u8>) {
        let mut line = self.line.as_ref().unwrap().try_clone().unwrap();
        thread::spawn(move || line.write_all(&bytes));
    }

    pub(crate) fn next_applied(&self) -> Applied {
        self.applied.recv_timeout(PATIENCE).expect("the board to apply something")
    }

    pub(crate) fn applied(&self, count: usize) -> Vec<Applied> {
        (0..count).map(|_| self.next_applied()).collect()
    }

    pub(crate) fn next_hello(&self) -> Vec<u8> {
        loop {
            let (kind, _, payload) = self.said.recv_timeout(PATIENCE).expect("a HELLO");
            if kind == HELLO {
                return payload;
            }
        }
    }

    /// The first STATUS from now on that fits.
    pub(crate) fn status_where(&self, fits: impl Fn(&Status) -> bool) -> Status {
        loop {
            let (kind, frame, payload) = self.said.recv_timeout(PATIENCE).expect("a STATUS");
            if kind == STATUS {
                let status = Status::read(frame, &payload);
                if fits(&status) {
                    return status;
                }
            }
        }
    }

    /// Waits for its announcement, greets it, and takes its answer.
    pub(crate) fn greet(&self, hello: &Hello) -> Vec<u8> {
        let announced = self.next_hello();
        assert_eq!(announced[3], 8);
        self.send(hello.packet());
        loop {
            let answer = self.next_hello();
            if answer[3] != 8 {
                return answer;
            }
        }
    }

    /// What was written to a register of a unit that the emulator does not have, in order.
    pub(crate) fn writes(&self, unit: &str, offset: u32) -> Vec<u32> {
        let log = std::fs::read_to_string(self.dir.path().join("writes.log")).unwrap();
        let number = |line: &str, word: &str| {
            let (_, rest) = line.split_once(word)?;
            let digits = rest.split(|c: char| !c.is_ascii_hexdigit()).next()?;
            u32::from_str_radix(digits, 16).ok()
        };
        log.lines()
            .filter(|line| line.starts_with(&format!("{unit}: unimplemented device write")))
            .filter(|line| number(line, "offset 0x") == Some(offset))
            .filter_map(|line| number(line, "value 0x"))
            .collect()
    }
}

/// The first to connect.
fn listen(path: &Path) -> Receiver<UnixStream> {
    let listener = UnixListener::bind(path).unwrap();
    let (say, heard) = channel();
    thread::spawn(move || listener.accept().map(|(stream, _)| say.send(stream)));
    heard
}

/// "char device redirected to /dev/pts/3 (label line)"
fn terminal_name(stdout: impl Read + Send + 'static) -> PathBuf {
    let (say, heard) = channel();
    thread::spawn(move || {
        for line in BufReader::new(stdout).lines().map_while(Result::ok) {
            let _ = say.send(line);
        }
    });
    loop {
        let line = heard.recv_timeout(PATIENCE).expect("the emulator to name its terminal");
        if let Some(name) = line.split_whitespace().find(|word| word.starts_with("/dev/")) {
            return name.into();
        }
    }
}

fn read_trace(tell: UnixStream, say: &Sender<Applied>) {
    for line in BufReader::new(tell).lines().map_while(Result::ok) {
        if say.send(Applied::read(&line)).is_err() {
            return;
        }
    }
}

fn read_packets(mut line: File, say: &Sender<(u8, u32, Vec<u8>)>) {
    let mut decoder = Decoder::new(4096);
    let mut bytes = [0; 4096];
    while let Ok(count @ 1..) = line.read(&mut bytes) {
        let mut rest = &bytes[..count];
        while let Some(packet) = decoder.take(&mut rest) {
            let packet = packet.expect("whole packets from the board");
            if say.send((packet.kind.number(), packet.frame, packet.payload.to_vec())).is_err() {
                return;
            }
        }
    }
}
