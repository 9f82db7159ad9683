//! A board on a line, frames for it, and the program at work.

use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use coilscore::budget::{Budget, Start};
use coilscore::frame::record::Entry;
use coilscore::preset::{board_settings, display, prepare_display};
use coilscore::sink::Sink;
use coilscore::sink::board::{Board, BoardSettings};
use coilscore::sink::file::open;
use coilscore::units::{Rate, Share};
use tempfile::TempDir;

use crate::board::{Plan, Seen, SimBoard};
use crate::common;
use crate::pty::{Pty, serve};

/// Far longer than anything takes; only a failure lasts so long.
const AT_MOST: Duration = Duration::from_secs(40);

/// A board with its line, which can be unplugged.
pub struct OnLine {
    board: Arc<Mutex<SimBoard>>,
    start: Instant,
    baud: Option<u32>,
    pub port: PathBuf,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    _dir: TempDir,
}

impl OnLine {
    pub fn new(plan: Plan) -> Self {
        Self::at(plan, None)
    }

    /// With a line of its own speed.
    pub fn at(plan: Plan, baud: Option<u32>) -> Self {
        let dir = TempDir::new().unwrap();
        let mut line = Self {
            board: Arc::new(Mutex::new(SimBoard::new(plan))),
            start: Instant::now(),
            baud,
            port: dir.path().join("port"),
            stop: Arc::default(),
            thread: None,
            _dir: dir,
        };
        line.plug_in();
        line
    }

    pub fn board(&self) -> MutexGuard<'_, SimBoard> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn name(&self) -> String {
        self.port.display().to_string()
    }

    /// The plug goes in; the board starts anew.
    pub fn plug_in(&mut self) {
        let mut pty = Pty::new().unwrap();
        pty.name(&self.port).unwrap();
        self.stop = Arc::default();
        let (board, stop) = (Arc::clone(&self.board), Arc::clone(&self.stop));
        let how = (self.start, self.baud);
        self.board().reset();
        self.thread = Some(thread::spawn(move || serve(&board, &mut pty, how, &stop).unwrap()));
    }

    /// The plug is pulled.
    pub fn pull_out(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }

    /// Waits until the board is as `is_it` says.
    pub fn until(&self, what: &str, is_it: impl Fn(&SimBoard) -> bool) {
        let began = Instant::now();
        while !is_it(&self.board()) {
            assert!(began.elapsed() < AT_MOST, "{what}: {:?}", tail(&self.board().seen));
            thread::sleep(Duration::from_millis(2));
        }
    }

    /// All frames that the board took so far, with their codes.
    pub fn duties(&self) -> Vec<(u32, Vec<i32>)> {
        let board = self.board();
        let duties = board.seen.iter().filter_map(|seen| match seen {
            Seen::Duty { frame, codes, .. } => Some((*frame, codes.clone())),
            _ => None,
        });
        duties.collect()
    }

    /// Asserts that OFF is the first that was said after the last frame: the board was told, and
    /// did not have to see for itself.
    pub fn assert_told_off(&self) {
        let after = |board: &SimBoard| {
            let events = board.seen.iter().filter(|seen| !matches!(seen, Seen::Hello { .. }));
            let mut events = events.rev().take_while(|seen| !matches!(seen, Seen::Duty { .. }));
            events.by_ref().last().cloned()
        };
        // The last bytes may still be on their way.
        self.until("the end", |board| after(board).is_some());
        let board = self.board();
        let first = after(&board);
        assert!(matches!(first, Some(Seen::Off { .. })), "after the last frame came {first:?}");
        assert!(board.codes().iter().all(|code| *code == 0));
    }
}

impl Drop for OnLine {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

fn tail(seen: &[Seen]) -> &[Seen] {
    &seen[seen.len().saturating_sub(5)..]
}

pub fn count_duties(board: &SimBoard) -> usize {
    board.seen.iter().filter(|seen| matches!(seen, Seen::Duty { .. })).count()
}

/// A hold that no busy machine outlasts.
const HOLD_MS: u16 = 2000;

/// A display that music takes to its limits, with that hold.
pub fn hot_ring() -> String {
    common::HOT_RING.replace("hold_ms = 250", "hold_ms = 2000")
}

/// Its board.
pub fn ring() -> Plan {
    Plan { channels: 24, steps: 4095, hold_ms: HOLD_MS, pwm_hz: 0, ..Plan::default() }
}

/// The board that goes with [`one_coil`].
pub fn one_channel() -> Plan {
    Plan { channels: 1, steps: 65535, hold_ms: HOLD_MS, pwm_hz: 0, ..Plan::default() }
}

/// Settings for one coil that nothing limits, at 100 frames a second on a line of 1 Mbaud.
pub fn one_coil() -> (BoardSettings, Budget) {
    let text = common::UNLIMITED.replace("hold_ms = 250", "hold_ms = 2000");
    let display = display::read("one", &text).unwrap();
    let rate = Rate::new(100, 1).unwrap();
    let mut settings = board_settings(&display, rate).unwrap();
    settings.baud = Some(1_000_000);
    let (budget, _) = prepare_display(&display, rate, Start::Cold);
    (settings, Budget::new(&budget).unwrap())
}

/// Feeds frames in time until it is stopped; says how many.
pub struct Feeder {
    stop: Arc<AtomicBool>,
    thread: JoinHandle<(Board, u32)>,
}

impl Feeder {
    pub fn start(mut board: Board, mut budget: Budget) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = thread::spawn(move || {
            let (began, mut frame) = (Instant::now(), 0_u32);
            while !stopped.load(Ordering::Relaxed) {
                board.duty(frame, budget.permit(&[code_of(frame)])).unwrap();
                frame += 1;
                let due = began + Duration::from_millis(10) * frame;
                thread::sleep(due.saturating_duration_since(Instant::now()));
            }
            (board, frame)
        });
        Self { stop, thread }
    }

    pub fn stop(self) -> (Board, u32) {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.join().unwrap()
    }
}

/// A wish that tells its frame: its code is the number, never 0.
pub fn code_of(frame: u32) -> Share {
    Share::saturating(f64::from(1 + frame % 60_000) / 65535.0)
}

/// A folder with a display and duty files in it, for the program.
pub struct Desk {
    pub dir: TempDir,
}

impl Desk {
    pub fn new(display: &str) -> Self {
        let dir = TempDir::new().unwrap();
        std::fs::write(dir.path().join("display.toml"), display).unwrap();
        Self { dir }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// Renders so many seconds of two tones that come and go.
    pub fn render(&self, seconds: u32, rate: &str) {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 8000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut wav = hound::WavWriter::create(self.path("song.wav"), spec).unwrap();
        for n in 0..8000 * seconds {
            let t = f64::from(n) / 8000.0;
            let swell = (1.0 + (t * 9.0).sin()) / 2.0;
            let tone = (t * 500.0).sin() + (t * 6000.0).sin() * (t * 5.0).cos();
            wav.write_sample((tone * swell * 12_000.0) as i16).unwrap();
        }
        wav.finalize().unwrap();
        let mapping = common::one_band("ring", 40.0, 200.0, -60.0, -20.0);
        std::fs::write(self.path("mapping.toml"), mapping).unwrap();
        let run = self.run(&[
            "render",
            "song.wav",
            "--preset",
            "mapping.toml",
            "--display",
            "display.toml",
            "--out",
            "song.duty",
            "--rate",
            rate,
            "--quiet",
        ]);
        assert!(run.status.success(), "{}", text(&run.stderr));
    }

    /// Number and codes of every frame in a duty file.
    pub fn recorded(&self, name: &str) -> Vec<(u32, Vec<i32>)> {
        let mut reader = open(self.path(name)).unwrap();
        let mut frames = Vec::new();
        while let Some(entry) = reader.next_entry().unwrap() {
            if let Entry::Duty { frame, codes } = entry {
                frames.push((frame, codes.iter().map(|code| code.0).collect()));
            }
        }
        frames
    }

    /// Plays `song.duty` on these boards until no frame was skipped: a busy machine may be late, and
    /// late frames are skipped. Whatever was skipped, every frame is accounted for.
    pub fn play_whole(&self, lines: &[&OnLine], more: &[&str]) -> Output {
        // What a damaged file lost is sent as frames with all coils off.
        let file = self.recorded("song.duty").last().unwrap().0 as usize + 1;
        for _ in 0..10 {
            lines.iter().for_each(|line| line.board().seen.clear());
            let names: Vec<String> = lines.iter().map(|line| line.name()).collect();
            let ports = names.iter().flat_map(|name| ["--port", name.as_str()]);
            let args = ["play", "song.duty", "--display", "display.toml", "--baud", "1000000"];
            let args: Vec<&str> =
                args.into_iter().chain(ports).chain(more.iter().copied()).collect();
            let run = self.run(&args);
            assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
            let told = text(&run.stdout);
            let (_, counts) = told.split_once("to the boards: ").unwrap();
            let (counts, _) = counts.split_once(';').unwrap();
            let counts = counts.split([' ', ',']).filter_map(|word| word.parse().ok());
            let counts: Vec<usize> = counts.collect();
            let (sent, all): (usize, usize) = (counts[0], counts.iter().sum());
            let arrived: usize = lines.iter().map(|line| line.duties().len()).sum();
            assert_eq!((arrived, all), (sent, file * lines.len()), "{told}");
            if sent == all {
                return run;
            }
        }
        panic!("this machine is too busy to play anything in time");
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(args).current_dir(self.dir.path());
        command
    }

    pub fn run(&self, args: &[&str]) -> Output {
        self.command(args).stdin(Stdio::null()).output().unwrap()
    }

    pub fn spawn(&self, args: &[&str]) -> Child {
        let mut command = self.command(args);
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command.spawn().unwrap()
    }
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}
