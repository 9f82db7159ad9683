//! One rendered file, packet by packet, against an engine that is stepped by hand.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise; their numbers are small"
)]

mod common;

use std::cell::Cell;
use std::path::Path;

use coilscore::analysis::Arith;
use coilscore::audio::demo::DemoSong;
use coilscore::audio::fingerprint::Fingerprint;
use coilscore::audio::tone::{Samples, pink_noise};
use coilscore::audio::{SampleBlock, SoundError, SoundFormat, Source, collect};
use coilscore::budget::{Duty, Start};
use coilscore::engine::Engine;
use coilscore::frame::record::Entry;
use coilscore::frame::{Head, Meter, Tail};
use coilscore::preset::{Display, Mapping, prepare};
use coilscore::run::ahead::Ahead;
use coilscore::run::meter::Metering;
use coilscore::run::{Beside, Flow, Pumped, RenderJob, RenderReport, pump, render};
use coilscore::sink::file::open;
use coilscore::sink::memory::Memory;
use coilscore::sink::{Sink, SinkError};
use coilscore::units::Rate;
use common::{BUSY, HOT_RING, files};

const RATE_HZ: u32 = 44_100;

/// Two rails, and one coil weaker than the rest, so that nothing is symmetric by chance.
fn lopsided() -> String {
    let display = HOT_RING.replace("limit_a = 50", "limit_a = 3");
    let second = "[[rail]]\nname = \"spare\"\nvolts = 12\nlimit_a = 40\n[[coil_type]]\n\
                  name = \"weak\"\nresistance_ohm = 9\nreference_c = 20\ncoil_j_per_k = 0.6\n\
                  backing_j_per_k = 1.5\ncoil_to_backing_k_per_w = 4\n\
                  backing_to_around_k_per_w = 11\ncoil_limit_c = 70\nbacking_limit_c = 55\n\
                  trust = \"estimate\"\n[[coils]]\ngroup = \"ring\"\ntype = \"weak\"\n\
                  rail = \"spare\"\nboard = 1\nfirst_channel = 0\nplace.at = { mm = [[0, 0]] }\n";
    format!("{display}{second}")
}

fn sound() -> Vec<f32> {
    // 6 s and a bit: neither a whole number of blocks, frames nor heat ticks.
    let samples = collect(&mut DemoSong::new()).unwrap();
    samples[..2 * (6 * RATE_HZ as usize + 777)].to_vec()
}

struct Rendered {
    head: Head,
    codes: Vec<Vec<i32>>,
    meters: Vec<Meter>,
    off: Vec<u32>,
    tail: Tail,
    report: RenderReport,
}

fn job<'a>(mapping: &'a Mapping, display: &'a Display, start: Start) -> RenderJob<'a> {
    let rate = Rate::new(200, 1).unwrap();
    RenderJob { mapping, display, rate, start, arith: Arith::Portable }
}

fn rendered(dir: &Path, start: Start) -> Rendered {
    let (mapping, display) = files(BUSY, &lopsided());
    let out = dir.join("song.duty");
    let source = Box::new(Samples::new(RATE_HZ, 2, sound()).unwrap().in_blocks(&[1000, 13, 4096]));
    let job = job(&mapping, &display, start);
    let report = render(source, &job, &out, &mut |_| Flow::Continue(())).unwrap();
    let mut file = open(&out).unwrap();
    let (mut codes, mut meters, mut off) = (vec![], vec![], vec![]);
    while let Some(entry) = file.next_entry().unwrap() {
        match entry {
            Entry::Duty { codes: frame, .. } => codes.push(frame.iter().map(|c| c.0).collect()),
            Entry::Meter(meter) => meters.push(meter.clone()),
            Entry::Off { frame } => off.push(frame),
            Entry::Tail(_) => {}
        }
    }
    assert!(file.is_whole(), "{:?}", file.damage());
    let (head, tail) = (file.head().clone(), file.tail().unwrap().clone());
    Rendered { head, codes, meters, off, tail, report }
}

#[test]
fn every_packet_says_what_the_engine_did() {
    let dir = tempfile::tempdir().unwrap();
    let it = rendered(dir.path(), Start::Cold);
    let (mapping, display) = files(BUSY, &lopsided());
    let format = SoundFormat { rate_hz: RATE_HZ, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    let (prepared, _) =
        prepare(&mapping, &display, format, rate, Start::Cold, Arith::Portable).unwrap();
    let samples = sound();
    let mut engine = Engine::new(&prepared).unwrap();
    let mut rest = SampleBlock::new(&samples, 2).unwrap();
    let mut by_hand: Vec<(Vec<i32>, [f64; 5], Vec<f64>)> = Vec::new();
    let mut keep = |step: &coilscore::engine::Step<'_>| {
        let load = step.load;
        let sums = [load.wished, load.granted, load.cut_heat, load.cut_rail, load.cut_driver];
        by_hand.push((step.duties.iter().map(|d| d.code()).collect(), sums, load.rail_a.to_vec()));
    };
    while let (left, Some(step)) = engine.step(rest) {
        keep(&step);
        rest = left;
    }
    if let Some(step) = engine.finish() {
        keep(&step);
    }
    engine.settle();

    let codes: Vec<_> = by_hand.iter().map(|frame| frame.0.clone()).collect();
    assert!(it.codes == codes, "the frames differ");
    assert_eq!(it.off, [codes.len() as u32]);
    assert_eq!(it.tail.frames as usize, codes.len());
    assert_eq!(it.tail.sound_instants as usize, samples.len() / 2);
    assert_eq!(it.tail.node_c, engine.budget().load().node_c);
    assert_ne!(codes.len() % 4, 0, "the last heat tick must be an unfinished one");
    let mut digest = Fingerprint::new();
    digest.update(SampleBlock::new(&samples, 2).unwrap());
    assert_eq!(it.tail.sound_digest, digest.hex());

    // Meters cover all frames, ten at a time, and their means add up to the tail's totals.
    assert_eq!(it.meters.len(), codes.len().div_ceil(10));
    assert_eq!(it.meters.last().unwrap().frame as usize, codes.len() - 1);
    for (meter, frames) in it.meters.iter().zip(by_hand.chunks(10)) {
        let mean =
            |pick: usize| frames.iter().map(|f| f.1[pick]).sum::<f64>() / frames.len() as f64;
        let said = [meter.wished, meter.granted, meter.cut_heat, meter.cut_rail, meter.cut_driver];
        for (pick, said) in said.iter().enumerate() {
            assert!((f64::from(*said) - mean(pick)).abs() < 1e-4, "{pick}: {said} {}", mean(pick));
        }
        for (rail, said) in meter.rail_mean_a.iter().enumerate() {
            let mean = frames.iter().map(|f| f.2[rail]).sum::<f64>() / frames.len() as f64;
            assert!((f64::from(*said) - mean).abs() < 1e-3, "rail {rail}: {said}, by hand {mean}");
        }
    }
    let sum = |column: &[f64]| column.iter().sum::<f64>();
    let tail = [&it.tail.cut_heat, &it.tail.cut_rail].map(|column| sum(column));
    assert!(tail.iter().all(|cut| *cut > 1.0), "heat and rail must both have cut: {tail:?}");
    for (pick, cut) in tail.iter().enumerate() {
        let all: f64 = by_hand.iter().map(|frame| frame.1[2 + pick]).sum();
        assert!((all - cut).abs() < 1e-6 * all, "{pick}");
    }

    // The report's peaks are the meters' closest moments, each in its own place.
    let closest = |pick: fn(&Meter) -> coilscore::frame::NodeMeter| {
        let nodes = it.meters.iter().map(pick);
        nodes.min_by(|a, b| (a.bound_c - a.now_c).total_cmp(&(b.bound_c - b.now_c))).unwrap()
    };
    let (coil, backing) = (closest(|m| m.coil), closest(|m| m.backing));
    let near = |a: f64, b: f32| (a - f64::from(b)).abs() < 1e-3;
    assert!(near(it.report.peak_coil_c, coil.now_c), "{:?}", it.report);
    assert!(near(it.report.peak_backing_c, backing.now_c), "{:?}", it.report);
    assert!(near(it.report.peak_coil_limit_c, coil.limit_c));
    assert!(near(it.report.peak_backing_limit_c, backing.limit_c));
    assert!(it.report.peak_coil_limit_c > it.report.peak_backing_limit_c);
    let wished = sum(&it.tail.wished);
    assert!((it.report.granted_share - sum(&it.tail.granted) / wished).abs() < 1e-12);
    assert!((it.report.song_s - samples.len() as f64 / 2.0 / f64::from(RATE_HZ)).abs() < 1e-9);
}

#[test]
fn the_head_says_how_it_started() {
    let dir = tempfile::tempdir().unwrap();
    for (start, word) in [(Start::Cold, "cold"), (Start::Warm, "warm"), (Start::Unknown, "unknown")]
    {
        let it = rendered(dir.path(), start);
        assert_eq!(it.head.start, word);
        assert_eq!((it.head.rate, it.head.lead_us), ([200, 1], 0));
        assert_eq!(it.head.coils.iter().map(|run| run.count).sum::<u32>(), 25);
    }
}

#[test]
fn decoding_ahead_loses_nothing() {
    for instants in [0, 1, 16_383, 16_384, 16_385, 32_768, 100_001] {
        let samples: Vec<f32> = (0..instants * 2).map(|n| n as f32).collect();
        let source = Samples::new(RATE_HZ, 2, samples.clone()).unwrap().in_blocks(&[777, 5000]);
        let mut ahead = Ahead::of(Box::new(source));
        assert!(collect(&mut ahead).unwrap() == samples, "{instants} instants");
        assert!(ahead.next_block().unwrap().is_none(), "it stays at its end");
    }
}

/// A second of noise, then a failure.
struct Failing(Samples);

impl Source for Failing {
    fn format(&self) -> SoundFormat {
        self.0.format()
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        self.0.next_block()?.map(Some).map_or_else(
            || {
                let (path, reason) = ("song".into(), "it broke".into());
                Err(SoundError::Undecodable { path, reason, advice: "mend it".into() })
            },
            Ok,
        )
    }
}

/// Refuses one frame, remembers everything.
struct Stumbling<'a> {
    memory: Memory,
    refused: u32,
    offs: &'a Cell<Vec<u32>>,
}

impl Sink for Stumbling<'_> {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        if number == self.refused {
            return Err(SinkError::Place { path: "here".into(), why: "it stumbled".into() });
        }
        self.memory.duty(number, duties)
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        let mut offs = self.offs.take();
        offs.push(number);
        self.offs.set(offs);
        self.memory.off(number)
    }
}

fn noise(seconds: usize) -> Samples {
    Samples::mono(8_000, pink_noise(1, 0.1, seconds * 8_000)).in_blocks(&[400])
}

/// Every way out of the loop ends with OFF, with the number of the frame that would come next.
/// Asks a closure whether to go on.
struct Hooked<'a>(&'a mut dyn FnMut(u64) -> Flow);

impl Beside for Hooked<'_> {
    fn go_on(&mut self, instants: u64) -> Flow {
        (self.0)(instants)
    }
}

#[test]
fn all_off_on_every_way_out() {
    let settings = common::prepared(
        &common::one_band("ring", 100.0, 1000.0, -60.0, 0.0),
        HOT_RING,
        8_000,
        1,
        "100",
    );
    let run = |source: &mut dyn Source, refused: u32, hook: &mut dyn FnMut(u64) -> Flow| {
        let offs = Cell::new(Vec::new());
        let mut sink = Stumbling { memory: Memory::new(), refused, offs: &offs };
        let mut engine = Engine::new(&settings).unwrap();
        let mut metering = Metering::new(&settings.budget, settings.analysis.bands.len());
        let end = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            pump(source, &mut engine, &mut sink, &mut metering, &mut Hooked(hook))
        }));
        (end, offs.take())
    };
    let go = &mut |_: u64| Flow::Continue(());
    let (end, offs) = run(&mut noise(1), u32::MAX, go);
    assert!(matches!(end, Ok(Ok(Pumped::Whole))) && offs == [101], "end: {offs:?}");
    let (end, offs) = run(&mut Failing(noise(1)), u32::MAX, go);
    assert!(matches!(end, Ok(Err(_))) && offs == [101], "broken song: {offs:?}");
    let (end, offs) = run(&mut noise(1), 50, go);
    assert!(matches!(end, Ok(Err(_))) && offs == [50], "refused frame: {offs:?}");
    let (end, offs) = run(&mut noise(1), u32::MAX, &mut |heard| {
        if heard >= 4_000 { Flow::Break(()) } else { Flow::Continue(()) }
    });
    assert!(matches!(end, Ok(Ok(Pumped::Stopped))) && offs == [51], "stopped: {offs:?}");
    let (end, offs) = run(&mut noise(1), u32::MAX, &mut |heard| {
        assert!(heard < 4_000, "a hook that panics, for this test");
        Flow::Continue(())
    });
    assert!(end.is_err() && offs == [51], "panic: {offs:?}");
}
