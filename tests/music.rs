//! Do the coils move with the music? The judge is an independent envelope of each band, computed
//! with `NumPy` by `tests/envelope.py` from the same WAV.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

mod common;

use std::path::Path;
use std::process::Command;

use coilscore::analysis::Arith;
use coilscore::audio::demo::DemoSong;
use coilscore::audio::file::{open, save_wav};
use coilscore::audio::tone::Samples;
use coilscore::budget::Start;
use coilscore::frame::record::Entry;
use coilscore::run::{Flow, RenderJob, render};
use coilscore::sink::file::open as open_duty_file;
use common::{UNLIMITED, files, one_band};

const RATE_HZ: u32 = 100;

/// Duty over time of one coil that hears one band of `song`, as a list in a file.
fn duties(dir: &Path, song: &Path, low_hz: f64, high_hz: f64) -> std::path::PathBuf {
    let (mapping, display) = files(&one_band("one", low_hz, high_hz, -60.0, 0.0), UNLIMITED);
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate: coilscore::units::Rate::new(RATE_HZ, 1).unwrap(),
        start: Start::Cold,
        arith: Arith::Native,
    };
    let out = dir.join(format!("{low_hz}.duty"));
    let report = render(open(song).unwrap(), &job, &out, &mut |_| Flow::Continue(())).unwrap();
    assert!(report.whole);
    let mut file = open_duty_file(&out).unwrap();
    let mut codes = Vec::new();
    while let Some(entry) = file.next_entry().unwrap() {
        if let Entry::Duty { codes: frame, .. } = entry {
            codes.push(f64::from(frame.first().unwrap().0));
        }
    }
    let list = over_50_ms(&codes).map(|mean| format!("{mean}\n")).collect::<String>();
    let path = dir.join(format!("{low_hz}.duty.csv"));
    std::fs::write(&path, list).unwrap();
    path
}

/// Mean over the 50 ms around each frame: what the judge's own window does to the envelope.
fn over_50_ms(codes: &[f64]) -> impl Iterator<Item = f64> + '_ {
    let around = |k: usize| codes.iter().skip(k.saturating_sub(2)).take(5);
    (0..codes.len()).map(move |k| around(k).sum::<f64>() / around(k).count() as f64)
}

/// The first interpreter that has `NumPy`: the one the test script found, the system's, the path's.
fn interpreter() -> String {
    let named = std::env::var("COILSCORE_PYTHON").ok();
    let known = ["/usr/bin/python3", "python3"].map(str::to_owned);
    let has_numpy = |python: &String| {
        Command::new(python)
            .args(["-c", "import numpy"])
            .output()
            .is_ok_and(|output| output.status.success())
    };
    let found = named.into_iter().chain(known).find(has_numpy);
    found.expect("a python3 with NumPy; install the package python3-numpy")
}

fn python(args: &[&std::ffi::OsStr]) -> String {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/envelope.py");
    let output = Command::new(interpreter()).arg(script).args(args).output().unwrap();
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "envelope.py: {error}");
    String::from_utf8(output.stdout).unwrap()
}

fn envelope(dir: &Path, song: &Path, low_hz: f64, high_hz: f64, name: &str) -> std::path::PathBuf {
    let out = dir.join(name);
    let (low, high, rate) = (low_hz.to_string(), high_hz.to_string(), RATE_HZ.to_string());
    let args = [song.as_os_str(), low.as_ref(), high.as_ref(), rate.as_ref(), out.as_os_str()];
    python(&args);
    out
}

/// Correlation of `moved` with the envelope's upper 60 dB, at the best lag within 100 ms.
fn correlation(envelope: &Path, moved: &Path) -> f64 {
    let rate = RATE_HZ.to_string();
    let within_db = "60";
    let args = ["--correlate".as_ref(), envelope.as_os_str(), moved.as_os_str()];
    let printed = python(&[&args[..], &[rate.as_ref(), within_db.as_ref()]].concat());
    let first = printed.split_whitespace().next().unwrap_or_default();
    first.parse().unwrap_or_else(|_| panic!("not a number: {printed}"))
}

/// Another song: noise in bursts at a tempo that has nothing to do with the demo's.
fn other_song(seconds: usize) -> Samples {
    let mut seed = 12_345_u32;
    let samples = (0..44_100 * seconds * 2).map(|n| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f32::from((seed >> 16) as u16) / 32_768.0 - 1.0;
        let slot = (n / 2) / 13_790;
        noise * [0.5, 0.02, 0.1, 0.004, 0.3].get((slot * 7 + slot / 3) % 5).unwrap()
    });
    Samples::new(44_100, 2, samples.collect()).unwrap()
}

#[test]
fn coils_follow_their_own_song_and_no_other() {
    let dir = tempfile::tempdir().unwrap();
    let song = dir.path().join("song.wav");
    save_wav(&song, &mut DemoSong::new()).unwrap();
    let other = dir.path().join("other.wav");
    save_wav(&other, &mut other_song(24)).unwrap();
    for (low_hz, high_hz) in [(40.0, 160.0), (400.0, 1600.0), (3000.0, 12_000.0)] {
        let moved = duties(dir.path(), &song, low_hz, high_hz);
        let own = envelope(dir.path(), &song, low_hz, high_hz, "own.csv");
        let foreign = envelope(dir.path(), &other, low_hz, high_hz, "foreign.csv");
        let (own, foreign) = (correlation(&own, &moved), correlation(&foreign, &moved));
        assert!(own > 0.9, "{low_hz}..{high_hz} Hz: own song {own}");
        assert!(foreign < 0.3, "{low_hz}..{high_hz} Hz: other song {foreign}");
    }
}
