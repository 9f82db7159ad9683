//! An hour at once. A program of its own, as its memory is measured.
#![cfg(target_os = "linux")]
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]

mod common;
#[path = "common/scripted.rs"]
mod scripted;

use std::sync::Arc;

use coilscore::audio::SoundFormat;
use coilscore::audio::noise::White;
use coilscore::budget::Start;
use coilscore::run::ends::tail;
use coilscore::run::line::Line;
use coilscore::run::live::{Controls, Outlet, Recording, Show};
use coilscore::run::pump;
use scripted::{Count, Script, job, watch};
use tempfile::TempDir;

/// Memory of this program in kB, as the system counts it.
fn resident_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn an_hour_drifts_by_nothing_and_takes_no_memory() {
    let dir = TempDir::new().unwrap();
    let text = common::one_band("one", 1000.0, 8000.0, -60.0, -10.0);
    let (mapping, display) = common::files(&text, common::UNLIMITED);
    let job = job(&mapping, &display, Start::Unknown);
    let format = SoundFormat { rate_hz: 44_100, channels: 1 };
    let Line { mut engine, mut metering, head, .. } = Line::new(&job, &[], format).unwrap();
    let mut noise = White::new(1, 0.7);
    // 441 goes 100 times into a second: an hour is 360,000 blocks.
    let mut source = Script {
        format,
        block: vec![0.0; 441],
        fill: Box::new(|block| block.fill_with(|| noise.next_sample() as f32)),
        before: Box::new(|_| {}),
        next: 0,
        blocks: 360_000,
    };
    let controls = Controls::new(Arc::default());
    let (watch, seen, told) = watch();
    let notices = watch.notices.clone();
    let (mut frames, mut after_a_minute, mut taken) = (0_u32, 0, Vec::new());
    let mut heat = |_: &[f64]| {
        frames += 1;
        if frames == 12_000 {
            after_a_minute = resident_kb();
        }
        taken.extend(seen.try_iter().map(|snapshot| snapshot.instants));
        true
    };
    let recording =
        Recording::create(&dir.path().join("hour.duty"), &head, Some(&job.start)).unwrap();
    let mut show = Show::new(&engine, &controls, watch, None, None, &mut heat);
    let mut count = Count::default();
    let mut outlet = Outlet::new(&mut count, Some(recording), notices);
    pump(&mut source, &mut engine, &mut outlet, &mut metering, &mut show).unwrap();
    let tail = tail(&engine, show.digest_hex());
    drop(show);
    let kept = outlet.release().unwrap().finish(&tail);
    let (now, notes): (u64, Vec<String>) = (resident_kb(), told.take().collect());
    println!("resident: {after_a_minute} kB after a minute, {now} kB after an hour");
    assert!(kept.is_some_and(|kept| kept.is_ok()), "{notes:?}");
    assert_eq!((count.0, count.1), (720_001, 720_001), "frames 0 to 3600 s x 200/s, then off");
    assert_eq!(engine.instants(), 3600 * 44_100);
    // A snapshot after each 200 frames, so after frame 199 of each second: 5 ms before its end,
    // less than a block away.
    for (second, instants) in (1..).zip(&taken) {
        let due = second * 44_100 - 220;
        assert!((due..due + 441).contains(instants), "second {second}: {instants}");
    }
    assert!(now < after_a_minute + 2048, "{after_a_minute} kB grew to {now} kB");
}
