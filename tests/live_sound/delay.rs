//! How long it takes from a click to the frame that shows it, as it arrives at a board.
//!
//! Times are printed, not judged: the machine that runs this may be busy. Judged is what does not
//! hang on the machine: which frame shows which instant.

use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use coilscore::analysis::Arith;
use coilscore::audio::capture::{Capture, Gauges, Wanted};
use coilscore::audio::{SampleBlock, SoundFormat, Source};
use coilscore::budget::{Duty, Start};
use coilscore::engine::{Engine, Step};
use coilscore::frame::Hands;
use coilscore::preset::{board_settings, prepare};
use coilscore::run::meter::Metering;
use coilscore::run::{Beside, pump};
use coilscore::sink::board::Board;
use coilscore::sink::{Sink, SinkError};
use coilscore::units::Rate;
use tempfile::TempDir;

use crate::bench::{OnLine, one_channel};
use crate::board::Seen;
use crate::common;
use crate::loopback::Loopback;

/// More than are needed: a busy machine skips frames.
const CLICKS: usize = 260;
const APART: usize = 6_151;
const FRAME_RATE: u32 = 200;

#[test]
fn two_hundred_clicks() {
    let (sound, dir) = (Loopback::start(), TempDir::new().unwrap());
    let song = dir.path().join("clicks.wav");
    write_clicks(&song, CLICKS, APART);
    // The input needs an environment, which only a program of its own can have.
    let mut inside = Command::new(std::env::current_exe().unwrap());
    sound.surround(&mut inside);
    inside.args(["--exact", "delay::inside", "--ignored", "--nocapture", "--test-threads=1"]);
    inside.env("COILSCORE_CLICKS", &song);
    let output = inside.output().unwrap();
    println!("{}", crate::bench::text(&output.stdout));
    assert!(output.status.success(), "{}", crate::bench::text(&output.stderr));
}

pub(crate) fn write_clicks(song: &std::path::Path, clicks: usize, apart: usize) {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(song, spec).unwrap();
    for n in 0..48_000 + clicks * apart {
        let click = n >= 24_000 && (n - 24_000) % apart == 0;
        for _ in 0..2 {
            wav.write_sample(if click { 30_000_i16 } else { 0 }).unwrap();
        }
    }
    wav.finalize().unwrap();
}

/// A click on its way, times in seconds since the start.
#[derive(Debug, Clone, Copy)]
struct Click {
    instant: u64,
    captured_s: f64,
    arrived_s: f64,
}

/// Notes when what was heard and made.
struct Notes {
    began: Instant,
    gauges: Arc<Gauges>,
    heard: u64,
    clicks: Vec<Click>,
    /// Per frame: when the engine began on it and when it was done.
    frames: Vec<(f64, f64)>,
    stop: Arc<AtomicBool>,
}

impl Beside for Notes {
    fn heard(&mut self, block: SampleBlock<'_>) {
        let now_s = self.began.elapsed().as_secs_f64();
        let age_s = self.gauges.read().age_ns as f64 / 1e9;
        for (at, instant) in block.interleaved().chunks(2).enumerate() {
            if instant[0] > 0.5 {
                self.clicks.push(Click {
                    instant: self.heard + at as u64,
                    captured_s: now_s - age_s + at as f64 / 48_000.0,
                    arrived_s: now_s,
                });
            }
        }
        self.heard += block.instants() as u64;
        if self.clicks.len() >= CLICKS - 1 {
            self.stop.store(true, Ordering::Relaxed);
        }
        assert!(now_s < 120.0, "only {} clicks came", self.clicks.len());
    }

    fn hands(&mut self, frame: u32) -> Hands {
        let now_s = self.began.elapsed().as_secs_f64();
        // Asked again with each block: the last is the one that reaches the frame's edge.
        self.frames.truncate(frame as usize);
        self.frames.push((now_s, now_s));
        Hands::FREE
    }

    fn stepped(&mut self, step: Option<&Step<'_>>) {
        if let Some(step) = step {
            self.frames[step.number as usize].1 = self.began.elapsed().as_secs_f64();
        }
    }
}

/// A board, with every frame noted as it is handed over.
struct Noted {
    board: Board,
    codes: Vec<i32>,
}

impl Sink for Noted {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        self.codes.push(duties[0].code());
        self.board.duty(number, duties)
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.board.off(number)
    }
}

#[test]
#[ignore = "started by two_hundred_clicks, in the environment it needs"]
fn inside() {
    let song = std::env::var_os("COILSCORE_CLICKS").expect("started by two_hundred_clicks");
    let rate = Rate::new(FRAME_RATE, 1).unwrap();
    let mapping = common::one_band("one", 6000.0, 14_000.0, -90.0, -30.0);
    let (mapping, display) = common::files(&mapping, common::UNLIMITED);
    let format = SoundFormat { rate_hz: 48_000, channels: 2 };
    let (prepared, _) =
        prepare(&mapping, &display, format, rate, Start::Cold, Arith::Native).unwrap();
    let mut engine = Engine::new(&prepared).unwrap();
    let mut metering = Metering::new(&prepared.budget, 1);
    let stop = Arc::new(AtomicBool::new(false));
    let input = Some(Loopback::INPUT.to_owned());
    let wanted = Wanted { input, buffer: 256, rate_hz: None, channels: None };
    let mut capture = Capture::open(&wanted, Arc::clone(&stop), Box::new(|_| {})).unwrap();
    assert_eq!(capture.format(), format);
    let granted = capture.settled().granted;

    let line = OnLine::at(one_channel(), Some(1_000_000));
    let began = Instant::now();
    let mut settings = board_settings(&display, rate).unwrap();
    settings.baud = Some(1_000_000);
    settings.block_s = Some(f64::from(granted) / 48_000.0);
    let board = Board::open(&settings, &[line.name()]).unwrap();
    board.wait_ready(Duration::from_secs(10)).unwrap();
    let mut sink = Noted { board, codes: Vec::new() };
    let mut notes = Notes {
        began,
        gauges: capture.gauges(),
        heard: 0,
        clicks: Vec::with_capacity(CLICKS),
        frames: Vec::with_capacity(20_000),
        stop,
    };
    let mut player = Command::new("paplay").arg("--latency-msec=20").arg(song).spawn().unwrap();
    pump(&mut capture, &mut engine, &mut sink, &mut metering, &mut notes).unwrap();
    drop(sink.board);
    let _ = player.kill();
    player.wait().unwrap();

    let arrivals = arrivals(&line);
    let mut rows = Vec::new();
    for click in notes.clicks.iter().skip(1) {
        // The first frame whose edge lies behind the click: ceil(k 48000 / 200) > n.
        let first = (click.instant * u64::from(FRAME_RATE) / 48_000 + 1) as usize;
        let shown = (first..).find(|&k| sink.codes[k] > 0).unwrap();
        assert!((first..=first + 1).contains(&shown), "instant {}: {shown}", click.instant);
        assert!(sink.codes[first - 1] < sink.codes[shown], "nothing shows before it is heard");
        let (worked_s, made_s) = notes.frames[shown];
        let Some(&board_s) = arrivals.get(&(shown as u32)) else { continue };
        rows.push([
            board_s - click.captured_s,
            click.arrived_s - click.captured_s,
            worked_s - click.arrived_s,
            made_s - worked_s,
            board_s - made_s,
        ]);
    }
    println!("{} clicks, blocks of {granted} instants", rows.len());
    assert!(rows.len() >= 200, "only {} clicks came through", rows.len());
    for (part, what) in
        ["all", "capture", "to the frame's edge", "engine", "board's thread and line"]
            .iter()
            .enumerate()
    {
        let mut ms: Vec<f64> = rows.iter().map(|row| row[part] * 1000.0).collect();
        ms.sort_by(f64::total_cmp);
        let at = |share: f64| ms[(share * (ms.len() - 1) as f64) as usize];
        println!(
            "{what}: median {:.3} ms, 90 % {:.3}, 99 % {:.3}, worst {:.3}",
            at(0.5),
            at(0.9),
            at(0.99),
            at(1.0)
        );
    }
}

fn arrivals(line: &OnLine) -> std::collections::HashMap<u32, f64> {
    let board = line.board();
    let duties = board.seen.iter().filter_map(|seen| match seen {
        Seen::Duty { frame, at_s, .. } => Some((*frame, *at_s)),
        _ => None,
    });
    duties.collect()
}
