//! A duty file through the budget of the display that is there now, without a board or a clock.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise; duty files are files"
)]

mod common;

use std::path::{Path, PathBuf};

use coilscore::analysis::Arith;
use coilscore::audio::{SampleBlock, SoundError, SoundFormat, Source};
use coilscore::budget::{Budget, Duty, Start};
use coilscore::frame::record::Reader;
use coilscore::frame::wire::{Decoder, Encoder, Kind};
use coilscore::preset::{Display, prepare_display};
use coilscore::run::Flow;
use coilscore::run::play::{Beat, PlayError, Played, Recording, play};
use coilscore::run::{RenderJob, render};
use coilscore::sink::memory::Memory;
use coilscore::sink::{Sink, SinkError};
use coilscore::units::Rate;
use tempfile::TempDir;

/// Two tones that take turns, so that bridges have to turn as well.
struct Turns {
    at: u32,
    block: Vec<f32>,
}

const SECONDS: u32 = 6;
const RATE_HZ: u32 = 8000;

impl Source for Turns {
    fn format(&self) -> SoundFormat {
        SoundFormat { rate_hz: RATE_HZ, channels: 1 }
    }
    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        if self.at >= SECONDS * RATE_HZ {
            return Ok(None);
        }
        let sample = |n: u32| {
            let t = f64::from(n) / f64::from(RATE_HZ);
            let hz = if (t * 4.0) % 2.0 < 1.0 { 80.0 } else { 1000.0 };
            (0.4 * (std::f64::consts::TAU * hz * t).sin()) as f32
        };
        self.block = (self.at..self.at + 800).map(sample).collect();
        self.at += 800;
        Ok(SampleBlock::new(&self.block, 1))
    }
    fn expected_instants(&self) -> Option<u64> {
        None
    }
}

/// One tone pulls, the other pushes.
fn mapping() -> String {
    let first = common::one_band("ring", 40.0, 200.0, -60.0, -10.0);
    let second = common::one_band("ring", 500.0, 2000.0, -60.0, -10.0);
    let (_, route) = second.split_once("[[route]]").unwrap();
    let route = route.replace("weight = 1.0", "weight = -1.0").replace("\"only\"", "\"other\"");
    format!("{}[[route]]{route}", first.replace("combine = \"max\"", "combine = \"add\""))
}

fn bridges() -> String {
    common::HOT_RING
        .replace("steps = 4095", "steps = 2047")
        .replace("\"one_way\"", "\"sign_magnitude\"\nbridge_zero_ms = 12")
        .replace("limit_a = 50", "limit_a = 20\nramp_ms = 300")
}

struct Desk {
    dir: TempDir,
    display: Display,
}

impl Desk {
    /// A song rendered from cold on this display.
    fn new(display: &str, rate: &str) -> Self {
        let (mapping, display) = common::files(&mapping(), display);
        let dir = TempDir::new().unwrap();
        let rate: Rate = rate.parse().unwrap();
        let (start, arith) = (Start::Cold, Arith::Portable);
        let job = RenderJob { mapping: &mapping, display: &display, rate, start, arith };
        let source = Box::new(Turns { at: 0, block: Vec::new() });
        let out = dir.path().join("song.duty");
        render(source, &job, &out, &mut |_| Flow::Continue(())).unwrap();
        Self { dir, display }
    }

    fn file(&self) -> PathBuf {
        self.dir.path().join("song.duty")
    }

    fn play(&self, start: Start, beat: &mut dyn Beat) -> (Memory, Result<Played, PlayError>) {
        let mut recording = Recording::open(&self.file(), &self.display).unwrap();
        let (settings, _) = prepare_display(&self.display, recording.rate(), start);
        let mut memory = Memory::new();
        let played = play(&mut recording, &settings, &mut memory, beat);
        (memory, played)
    }

    fn recorded(&self) -> Memory {
        let mut memory = Memory::new();
        let mut reader = Reader::new(std::fs::File::open(self.file()).unwrap()).unwrap();
        while let Some(entry) = reader.next_entry().unwrap() {
            if let coilscore::frame::record::Entry::Duty { frame, codes } = entry {
                memory.frames.push((frame, codes.to_vec()));
            }
        }
        memory
    }

    /// Writes the file anew, packet by packet.
    fn edit(&self, mut keep: impl FnMut(Kind, u32) -> bool) {
        let bytes = std::fs::read(self.file()).unwrap();
        let (mut decoder, mut rest) = (Decoder::new(1 << 20), bytes.as_slice());
        let mut out = Vec::new();
        while let Some(packet) = decoder.take(&mut rest) {
            let packet = packet.unwrap();
            if keep(packet.kind, packet.frame) {
                let mut encoder = Encoder::new(packet.payload.len());
                out.extend_from_slice(encoder.packet(packet.kind, packet.frame, packet.payload));
            }
        }
        std::fs::write(self.file(), out).unwrap();
    }
}

/// Notes every time it is asked to wait for, and stops after so many frames.
#[derive(Default)]
struct Noted {
    times_s: Vec<f64>,
    stop_after: Option<usize>,
    sums: Vec<f64>,
}

impl Beat for Noted {
    fn wait(&mut self, time_s: f64) -> Flow {
        self.times_s.push(time_s);
        match self.stop_after {
            Some(most) if self.times_s.len() > most => Flow::Break(()),
            _ => Flow::Continue(()),
        }
    }
    fn stepped(&mut self, _: f64, budget: &Budget) -> Flow {
        self.sums.push(budget.duties().iter().map(|duty| f64::from(duty.code().abs())).sum());
        Flow::Continue(())
    }
}

#[test]
fn the_same_display_grants_again_exactly_what_it_granted() {
    for (display, rate) in
        [(common::HOT_RING.to_owned(), "200"), (bridges(), "200"), (bridges(), "60000/1001")]
    {
        let desk = Desk::new(&display, rate);
        let recorded = desk.recorded();
        let signs = recorded.frames.iter().map(|(_, codes)| codes[0].0.signum());
        let turns = signs.collect::<Vec<_>>().windows(2).filter(|pair| pair[0] != pair[1]).count();
        assert!(turns > 10, "{turns} turns");
        let mut noted = Noted::default();
        let (memory, played) = desk.play(Start::Cold, &mut noted);
        let played = played.unwrap();
        for (sent, file) in memory.frames.iter().zip(&recorded.frames) {
            assert_eq!(sent, file, "{rate}");
        }
        assert_eq!(memory.frames.len(), recorded.frames.len());
        assert!((played.shares[0] - 1.0).abs() < 1e-12, "{:?}", played.shares);
        assert!(played.whole && played.missing == 0 && played.remarks.is_empty(), "{played:?}");
        let end = recorded.frames.len() as u32;
        assert_eq!(memory.offs, [end]);
        // Each frame at its time, and OFF a frame after the last.
        let rate: Rate = rate.parse().unwrap();
        let times: Vec<f64> = (0..=u64::from(end)).map(|n| rate.time_of(n).0).collect();
        assert_eq!(noted.times_s, times);
    }
}

#[test]
fn a_rail_that_may_rise_only_slowly_gives_a_step_less_at_most() {
    // It follows what was asked for, and a file asks for whole steps.
    let slow = bridges().replace("ramp_ms = 300", "slew_a_per_s = 60");
    let desk = Desk::new(&slow, "200");
    let (memory, _) = desk.play(Start::Cold, &mut Noted::default());
    let mut less = 0;
    for ((number, now), (_, then)) in memory.frames.iter().zip(&desk.recorded().frames) {
        for (now, then) in now.iter().zip(then) {
            let short = then.0.abs() - now.0.abs();
            assert!((0..=1).contains(&short), "frame {number}: {now:?} of {then:?}");
            less += short;
        }
    }
    assert!(less > 0, "the case does not occur: nothing was tested");
}

#[test]
fn a_warm_display_gets_less_and_never_more() {
    let desk = Desk::new(common::HOT_RING, "200");
    let cold = desk.play(Start::Cold, &mut Noted::default()).0;
    for start in [Start::Warm, Start::Unknown] {
        let (memory, played) = desk.play(start, &mut Noted::default());
        assert!(played.unwrap().shares[0] < 0.9);
        for ((_, now), (_, then)) in memory.frames.iter().zip(&cold.frames) {
            assert!(now.iter().zip(then).all(|(now, then)| now.0.abs() <= then.0.abs()));
        }
    }
}

#[test]
fn in_place_of_missing_frames_all_coils_are_off_and_boards_hold_nothing() {
    let desk = Desk::new(common::HOT_RING, "200");
    // 0.5 s are missing, twice what the driver holds.
    desk.edit(|kind, frame| kind != Kind::Duty || !(25..125).contains(&frame));
    let mut noted = Noted::default();
    let (memory, played) = desk.play(Start::Cold, &mut noted);
    let played = played.unwrap();
    assert_eq!((played.missing, played.whole), (100, true));
    assert!(played.remarks[0].contains("frames 25 to 124 are missing"), "{:?}", played.remarks);
    let numbers: Vec<u32> = memory.frames.iter().map(|(number, _)| *number).collect();
    assert!(numbers.windows(2).all(|pair| pair[1] == pair[0] + 1), "each frame has one");
    let off = |frame: usize| memory.frames[frame].1.iter().all(|code| code.0 == 0);
    assert!(!off(24) && (25..125).all(off) && !off(125), "what is sent");
    assert_eq!(noted.times_s.len(), noted.sums.len() + 1, "time is kept where frames are missing");
    assert!(noted.sums[24] > 0.0);
    assert_eq!(noted.sums[25..125], [0.0; 100], "and what is modelled");
    // Without its end, it is off all the same, a frame after the last one.
    desk.edit(|kind, _| !matches!(kind, Kind::Off | Kind::Tail));
    let (memory, played) = desk.play(Start::Cold, &mut Noted::default());
    assert_eq!(memory.offs, [memory.frames.last().unwrap().0 + 1]);
    assert!(played.unwrap().remarks.iter().any(|remark| remark.contains("cut short")));
    // A number out of this world is no gap to wait through.
    let mut bytes = std::fs::read(desk.file()).unwrap();
    let packing = desk.display.coil_runs();
    let payload = vec![0; coilscore::frame::Packing::narrowest(&packing).unwrap().bytes(24)];
    bytes.extend_from_slice(Encoder::new(99).packet(Kind::Duty, 4_000_000, &payload));
    std::fs::write(desk.file(), bytes).unwrap();
    let (memory, played) = desk.play(Start::Cold, &mut Noted::default());
    assert!(matches!(played, Err(PlayError::Gap { last: 3_999_999, .. })), "{played:?}");
    assert_eq!(memory.offs.len(), 1);
}

#[test]
fn every_way_out_ends_with_off() {
    let desk = Desk::new(common::HOT_RING, "200");
    let mut stopped = Noted { stop_after: Some(40), ..Noted::default() };
    let (memory, played) = desk.play(Start::Cold, &mut stopped);
    assert!(!played.unwrap().whole);
    assert_eq!((memory.frames.len(), memory.offs.as_slice()), (40, &[40][..]));

    /// Fails at a frame, one way or the other.
    struct Fails {
        panics: bool,
        offs: Vec<u32>,
    }
    impl Sink for Fails {
        fn duty(&mut self, number: u32, _: &[Duty]) -> Result<(), SinkError> {
            assert!(!(self.panics && number == 7), "the sink has failed");
            match number {
                7 => Err(SinkError::Place { path: Path::new("x").into(), why: "full".into() }),
                _ => Ok(()),
            }
        }
        fn off(&mut self, number: u32) -> Result<(), SinkError> {
            self.offs.push(number);
            Ok(())
        }
    }
    for panics in [false, true] {
        let mut sink = Fails { panics, offs: Vec::new() };
        let mut recording = Recording::open(&desk.file(), &desk.display).unwrap();
        let (settings, _) = prepare_display(&desk.display, recording.rate(), Start::Cold);
        let run = std::panic::AssertUnwindSafe(|| {
            play(&mut recording, &settings, &mut sink, &mut Noted::default()).is_err()
        });
        let failed = std::panic::catch_unwind(run).unwrap_or(true);
        assert!(failed);
        assert_eq!(sink.offs, [8]);
    }
}

#[test]
fn a_file_of_other_steps_keeps_its_duties() {
    let desk = Desk::new(common::HOT_RING, "200");
    let (_, other) = common::files(&mapping(), &common::HOT_RING.replace("4095", "255"));
    let mut recording = Recording::open(&desk.file(), &other).unwrap();
    assert!(!recording.same_display());
    let (settings, _) = prepare_display(&other, recording.rate(), Start::Cold);
    let mut memory = Memory::new();
    play(&mut recording, &settings, &mut memory, &mut Noted::default()).unwrap();
    // In the first frames nothing limits: the duty is the same, rounded towards off.
    for ((_, now), (_, then)) in memory.frames.iter().zip(&desk.recorded().frames).take(20) {
        assert_eq!(now[0].0, then[0].0 * 255 / 4095);
    }
    assert!(memory.frames[19].1[0].0 > 0);
}
