//! A show without devices: hands, what is kept and made again, no memory taken.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

mod common;
#[path = "common/counting.rs"]
mod counting;
#[path = "common/scripted.rs"]
mod scripted;

use std::path::Path;
use std::sync::Arc;

use coilscore::audio::demo::DemoSong;
use coilscore::audio::noise::White;
use coilscore::audio::{SampleBlock, SoundFormat, Source, collect};
use coilscore::budget::Start;
use coilscore::engine::{Engine, Listener};
use coilscore::frame::{Hands, RecordedCode};
use coilscore::preset::Mapping;
use coilscore::run::ends::tail;
use coilscore::run::line::Line;
use coilscore::run::live::{Controls, Outlet, Recording, Saving, Show};
use coilscore::run::render::{Again, render_again};
use coilscore::run::{Flow, RenderJob, pump};
use coilscore::sink::file::open;
use coilscore::sink::memory::Memory;
use coilscore::units::Celsius;
use counting::allocations_during;
use scripted::{Count, Script, job, watch};
use tempfile::TempDir;

/// Plays `source` and keeps everything in `dir`.
fn play(
    source: &mut dyn Source,
    job: &RenderJob<'_>,
    further: &[Mapping],
    controls: &Controls,
    dir: &Path,
) -> Memory {
    let Line { mut engine, mut metering, head, .. } =
        Line::new(job, further, source.format()).unwrap();
    let recording = Recording::create(&dir.join("show.duty"), &head, Some(&job.start)).unwrap();
    let saving = Saving::create(&dir.join("heard.wav"), source.format()).unwrap();
    let (watch, _seen, _told) = watch();
    let notices = watch.notices.clone();
    let mut heat = |_: &[f64]| true;
    let mut show = Show::new(&engine, controls, watch, Some(saving), None, &mut heat);
    let mut memory = Memory::new();
    let mut outlet = Outlet::new(&mut memory, Some(recording), notices);
    pump(source, &mut engine, &mut outlet, &mut metering, &mut show).unwrap();
    let tail = tail(&engine, show.digest_hex());
    show.release().unwrap().finish().unwrap().unwrap();
    outlet.release().unwrap().finish(&tail).unwrap().unwrap();
    memory
}

#[test]
fn a_show_with_hands_is_made_again_from_what_it_kept() {
    let dir = TempDir::new().unwrap();
    let (mapping, display) = common::files(common::BUSY, common::HOT_RING);
    let other = common::one_band("ring", 2000.0, 8000.0, -70.0, -30.0);
    let further = [common::files(&other, common::HOT_RING).0];
    let nodes = (0..2 * display.coil_count()).map(|node| Celsius(25.0 + 0.37 * node as f64));
    let job = job(&mapping, &display, Start::Nodes(nodes.collect()));
    let mut song = DemoSong::new();
    let format = song.format();
    let samples = collect(&mut song).unwrap();
    let controls = Controls::new(Arc::default());
    let free = Hands::FREE;
    let script = [
        (300, Hands { level_percent: 55, ..free }),
        (601, Hands { mapping: 1, ..free }),
        (900, Hands { hold: true, mapping: 1, ..free }),
        (901, Hands { mapping: 1, ..free }),
        (1200, Hands { all_off: true, hold: true, ..free }),
        (1500, Hands { hold: true, level_percent: 80, ..free }),
        (1700, free),
    ];
    let mut at = 0;
    let mut source = Script {
        format,
        block: vec![0.0; 170 * 2],
        fill: Box::new(|block| {
            block.copy_from_slice(&samples[at..at + block.len()]);
            at += block.len();
        }),
        before: Box::new(|block| {
            if let Some((_, hands)) = script.iter().find(|(at, _)| *at == block) {
                controls.set(*hands);
            }
        }),
        next: 0,
        blocks: 2000,
    };
    let memory = play(&mut source, &job, &further, &controls, dir.path());

    let mut recorded = open(dir.path().join("show.duty")).unwrap();
    while recorded.next_entry().unwrap().is_some() {}
    assert!(recorded.is_whole(), "{:?}", recorded.damage());
    let inputs = recorded.inputs().clone();
    assert_eq!(inputs.start.as_ref(), Some(&job.start));
    assert_eq!(
        inputs.hands.iter().map(|(_, hands)| *hands).collect::<Vec<_>>(),
        script.map(|s| s.1)
    );
    let codes = |frame: u32| -> &[RecordedCode] { &memory.frames[frame as usize].1 };
    let moved = |frames: std::ops::Range<u32>| {
        frames.flat_map(codes).map(|code| f64::from(code.0)).sum::<f64>()
    };
    assert!(moved(inputs.hands[1].0..inputs.hands[2].0) > 0.0, "the other mapping hears nothing");
    let off_from = inputs.hands[4].0;
    for frame in off_from..inputs.hands[5].0 {
        assert!(codes(frame).iter().all(|code| code.0 == 0), "frame {frame}");
    }
    // Heat went on being modelled: what follows an all-off is not what came first.
    let song = coilscore::audio::file::open(&dir.path().join("heard.wav")).unwrap();
    let again = Again { further: &further, inputs: &inputs };
    let cold = RenderJob { start: Start::Cold, ..job.clone() };
    let out = dir.path().join("again.duty");
    render_again(song, &cold, again, &out, &mut |_| Flow::Continue(())).unwrap();
    let read = |name: &str| std::fs::read(dir.path().join(name)).unwrap();
    assert!(read("show.duty") == read("again.duty"), "not the same file");
    // Each of the inputs matters.
    for without in 0..inputs.hands.len() {
        let mut less = inputs.clone();
        less.hands.remove(without);
        let song = coilscore::audio::file::open(&dir.path().join("heard.wav")).unwrap();
        let again = Again { further: &further, inputs: &less };
        render_again(song, &cold, again, &out, &mut |_| Flow::Continue(())).unwrap();
        assert!(read("show.duty") != read("again.duty"), "hands {without} did nothing");
    }
}

#[test]
fn a_mapping_that_is_swapped_in_keeps_heat_and_frame_numbers() {
    let settings = common::prepared(common::BUSY, common::HOT_RING, 8000, 1, "200");
    let other = common::one_band("ring", 100.0, 1000.0, -60.0, -20.0);
    let other = common::prepared(&other, common::HOT_RING, 8000, 1, "200");
    let mut noise = White::new(5, 0.5);
    let samples: Vec<f32> = (0..80_000).map(|_| noise.next_sample() as f32).collect();
    let mut engine = Engine::new(&settings).unwrap();
    let mut next = Listener::new(&other).unwrap();
    let mut sound = SampleBlock::new(&samples, 1).unwrap();
    let mut frames = Vec::new();
    while let (left, Some(step)) = engine.step(sound) {
        frames.push((step.number, step.load.node_c[0]));
        sound = left;
        if frames.len() == 1000 {
            let taken = allocations_during(|| engine.swap(&mut next).unwrap());
            assert_eq!(taken, 0, "swapping takes no memory");
        }
    }
    assert!(frames.iter().enumerate().all(|(at, (number, _))| *number as usize == at));
    let (before, after) = (frames[999].1, frames[1000].1);
    assert!(before > 40.0 && (before - after).abs() < 1.0, "{before} C, then {after} C");
    // Where both hear the same bands, nothing of what was heard is forgotten.
    let levels = |swap: bool| {
        let mut engine = Engine::new(&settings).unwrap();
        let mut again = Listener::new(&settings).unwrap();
        let mut sound = SampleBlock::new(&samples, 1).unwrap();
        let mut levels = Vec::new();
        while let (left, Some(step)) = engine.step(sound) {
            levels.extend_from_slice(step.heard.band_dbfs);
            let number = step.number;
            sound = left;
            if swap && number == 1000 {
                engine.swap(&mut again).unwrap();
            }
        }
        levels
    };
    assert_eq!(levels(true), levels(false));
    let wrong = common::prepared(common::BUSY, common::HOT_RING, 8000, 1, "100");
    let mut wrong = Listener::new(&wrong).unwrap();
    let error = engine.swap(&mut wrong).unwrap_err().to_string();
    assert!(error.contains("different frame rates"), "{error}");
}

#[test]
fn the_frame_path_takes_no_memory() {
    let dir = TempDir::new().unwrap();
    let (mapping, display) = common::files(common::BUSY, common::HOT_RING);
    let job = job(&mapping, &display, Start::Cold);
    let format = SoundFormat { rate_hz: 48_000, channels: 2 };
    let further = [mapping.clone()];
    let Line { mut engine, mut metering, head, .. } = Line::new(&job, &further, format).unwrap();
    let controls = Controls::new(Arc::default());
    let (watch, seen, _told) = watch();
    let notices = watch.notices.clone();
    let recording =
        Recording::create(&dir.path().join("show.duty"), &head, Some(&job.start)).unwrap();
    let saving = Saving::create(&dir.path().join("heard.wav"), format).unwrap();
    let mut heat = |_: &[f64]| true;
    let mut show = Show::new(&engine, &controls, watch, Some(saving), None, &mut heat);
    let mut count = Count::default();
    let mut outlet = Outlet::new(&mut count, Some(recording), notices);
    let mut noise = White::new(1, 0.7);
    let mut source = Script {
        format,
        block: vec![0.0; 2 * 170],
        fill: Box::new(|block| block.fill_with(|| noise.next_sample() as f32)),
        before: Box::new(|block| {
            let level_percent = (block % 100) as u8;
            let hold = block % 7 == 0;
            controls.set(Hands { level_percent, hold, all_off: false, mapping: level_percent % 2 });
        }),
        next: 0,
        blocks: 3000,
    };
    let taken = allocations_during(|| {
        pump(&mut source, &mut engine, &mut outlet, &mut metering, &mut show).unwrap();
    });
    assert!(seen.try_iter().count() > 1, "snapshots were made");
    assert_eq!(taken, 0, "memory was taken within {} frames", count.0);
}
