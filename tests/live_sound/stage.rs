//! The program playing live, with a person at its keys.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use coilscore::audio::demo::DemoSong;
use coilscore::audio::file::save_wav;
use serde_json::Value;

use crate::bench::{Desk, text};
use crate::common;
use crate::loopback::Loopback;

/// A mapping of its own, so that changing over shows.
pub fn other_mapping() -> String {
    common::one_band("ring", 2000.0, 8000.0, -70.0, -30.0)
}

/// A desk with display, two mappings and the demo song.
pub fn desk() -> Desk {
    let desk = Desk::new(common::HOT_RING);
    std::fs::write(desk.path("mapping.toml"), common::BUSY).unwrap();
    std::fs::write(desk.path("other.toml"), other_mapping()).unwrap();
    save_wav(&desk.path("song.wav"), &mut DemoSong::new()).unwrap();
    desk
}

/// A show that runs.
pub struct Live {
    child: Child,
    keys: Option<ChildStdin>,
    seconds: BufReader<ChildStdout>,
}

/// What a program has used.
#[derive(Debug, Clone, Copy)]
pub struct Used {
    pub resident_kb: u64,
    pub cpu_s: f64,
}

/// How a show ended.
pub struct Ended {
    pub code: Option<i32>,
    pub told: String,
}

impl Live {
    /// Starts the program on `desk`; waits for nothing.
    pub fn start(desk: &Desk, sound: &Loopback, more: &[&str]) -> Self {
        Self::by(desk.command(&arguments(more)), sound)
    }

    /// The same by a command of one's own.
    pub fn by(mut command: Command, sound: &Loopback) -> Self {
        sound.surround(&mut command);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let seconds = BufReader::new(child.stdout.take().unwrap());
        Self { keys: child.stdin.take(), seconds, child }
    }

    /// What the next second was like; `None` when there is none any more.
    pub fn second(&mut self) -> Option<Value> {
        let mut line = String::new();
        self.seconds.read_line(&mut line).unwrap();
        (!line.is_empty()).then(|| serde_json::from_str(&line).unwrap())
    }

    /// Goes on to the first second that is as `is_it` says.
    pub fn until(&mut self, what: &str, is_it: impl Fn(&Value) -> bool) -> Value {
        for _ in 0..60 {
            match self.second() {
                Some(second) if is_it(&second) => return second,
                Some(_) => {}
                None => panic!("{what}: it ended: {}", self.end().told),
            }
        }
        panic!("{what}: not within a minute");
    }

    pub fn press(&mut self, keys: &str) {
        self.keys.as_mut().unwrap().write_all(keys.as_bytes()).unwrap();
    }

    pub fn signal(&self, signal: &str) {
        // The shell's own, which every machine has.
        let kill = format!("kill -{signal} {}", self.child.id());
        assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
    }

    /// What the system says of it.
    pub fn used(&self) -> Used {
        let read = |name: &str| {
            std::fs::read_to_string(format!("/proc/{}/{name}", self.child.id())).unwrap_or_default()
        };
        let status = read("status");
        let resident = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let resident = resident.and_then(|rest| rest.split_whitespace().next()?.parse().ok());
        // Fields 14 and 15, the name in brackets being the second; ticks of 10 ms everywhere.
        let stat = read("stat");
        let after_name = stat.rsplit(')').next().unwrap_or_default();
        let ticks = after_name.split_whitespace().skip(11).take(2);
        let ticks: f64 = ticks.filter_map(|field| field.parse::<f64>().ok()).sum();
        Used { resident_kb: resident.unwrap_or(0), cpu_s: ticks / 100.0 }
    }

    /// Waits for the end.
    pub fn end(&mut self) -> Ended {
        use std::io::Read;
        let mut told = Vec::new();
        self.child.stderr.take().unwrap().read_to_end(&mut told).unwrap();
        Ended { code: self.child.wait().unwrap().code(), told: text(&told) }
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        // Usually it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Flags of every show here.
pub fn arguments<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let always = [
        "live",
        "--preset",
        "mapping.toml",
        "--display",
        "display.toml",
        "--input",
        Loopback::INPUT,
        "--status",
        "json",
    ];
    always.iter().chain(more).copied().collect()
}

/// Makes `heard.wav` into `again.duty` with the inputs of `show.duty`, and says whether the two
/// files are the same, byte for byte.
pub fn made_again(desk: &Desk, more: &[&str]) -> bool {
    let render = [
        "render",
        "heard.wav",
        "--preset",
        "mapping.toml",
        "--display",
        "display.toml",
        "--as-live",
        "--inputs",
        "show.duty",
        "--out",
        "again.duty",
        "--quiet",
    ];
    let all: Vec<&str> = render.iter().chain(more).copied().collect();
    let run = desk.run(&all);
    assert!(run.status.success(), "{}", text(&run.stderr));
    bytes(&desk.path("show.duty")) == bytes(&desk.path("again.duty"))
}

fn bytes(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap()
}

/// Whether a file is there.
pub fn there(path: PathBuf) -> bool {
    path.is_file()
}
