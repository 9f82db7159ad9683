//! Frames that lead their sound, in files and in everything that reads them.

use std::path::Path;
use std::process::Command;

use coilscore::analysis::Arith;
use coilscore::audio::file::open;
use coilscore::budget::Start;
use coilscore::frame::record::Entry;
use coilscore::picture::{Ending, TimelineBuilder};
use coilscore::run::render::{RenderReport, render_as_live};
use coilscore::run::{Flow, RenderJob, render};
use coilscore::sink::file::open as open_duty_file;
use coilscore::units::Rate;
use tempfile::TempDir;

use crate::common::{UNLIMITED, files, one_band};
use crate::late::LAG;
use crate::songs::steady;

fn display(lag: &str) -> String {
    UNLIMITED.replace("[[rail]]", &format!("{lag}[[rail]]"))
}

fn made(dir: &Path, lag: &str, as_live: bool) -> (RenderReport, std::path::PathBuf) {
    let (mapping, display) = files(&one_band("one", 40.0, 120.0, -60.0, 0.0), &display(lag));
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate: Rate::new(200, 1).unwrap(),
        start: Start::Cold,
        arith: Arith::Portable,
    };
    let out = dir.join(format!("{as_live}{}.duty", lag.len()));
    let make = if as_live { render_as_live } else { render };
    let song = open(&dir.join("song.wav")).unwrap();
    (make(song, &job, &out, &mut |_| Flow::Continue(())).unwrap(), out)
}

fn codes(path: &Path) -> Vec<i32> {
    let mut reader = open_duty_file(path).unwrap();
    let mut codes = Vec::new();
    while let Some(entry) = reader.next_entry().unwrap() {
        if let Entry::Duty { codes: frame, .. } = entry {
            codes.push(frame[0].0);
        }
    }
    codes
}

fn desk() -> TempDir {
    let dir = TempDir::new().unwrap();
    steady(120.0, 6.0).save(&dir.path().join("song.wav"));
    dir
}

/// A lead of whole frames, 100 ms, takes the first ones away and changes none of the rest.
#[test]
fn frames_that_lead_are_the_same_frames_sooner() {
    let dir = desk();
    let (plain, plain_file) = made(dir.path(), "", false);
    assert_eq!(plain.lead_s, 0.0, "a display that says nothing of its fluid");
    let delay_s = open_duty_file(&plain_file).unwrap().head().bands[0].delay_s;
    // Half of a critically damped way, and half a frame; the route rises at once.
    let way_s = 1.678_347 / (50.0 * std::f64::consts::PI);
    let dead_ms = 1000.0 * (0.1 - delay_s - way_s - 0.0025);
    let lag =
        format!("[lag]\nrise.model = {{ dead_ms = {dead_ms}, natural_hz = 25, damping = 1 }}\n");
    let (led, led_file) = made(dir.path(), &lag, false);
    assert!((led.lead_s - 0.1).abs() < 2e-5, "{}", led.lead_s);
    let head = open_duty_file(&led_file).unwrap().head().clone();
    assert_eq!(head.lead_us, 100_000);
    assert!((head.lag.unwrap().rise.dead_s - dead_ms / 1000.0).abs() < 1e-9);
    let (plain, led) = (codes(&plain_file), codes(&led_file));
    assert_eq!(led.len() + 20, plain.len());
    assert_eq!(led, plain[20..]);
}

#[test]
fn as_live_nothing_leads() {
    let dir = desk();
    let (report, live) = made(dir.path(), LAG, true);
    assert_eq!(report.lead_s, 0.0);
    assert_eq!(open_duty_file(&live).unwrap().head().lead_us, 0);
    let (_, plain) = made(dir.path(), "", false);
    assert_eq!(codes(&live), codes(&plain));
    let (led, _) = made(dir.path(), LAG, false);
    assert!(led.lead_s > 0.095, "{}", led.lead_s);
}

/// Frame k is sent at k / rate, lead or not: tables and the other reader say so.
#[test]
fn readers_keep_the_times_at_which_frames_are_sent() {
    let dir = desk();
    let (_, file) = made(dir.path(), LAG, false);
    let csv = dir.path().join("out.csv");
    let convert = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .arg("convert")
        .args([&file, &csv])
        .output()
        .unwrap();
    assert!(convert.status.success(), "{}", String::from_utf8_lossy(&convert.stderr));
    let times = |text: &str, column: usize| -> Vec<f64> {
        let value = |line: &str| line.split(',').nth(column)?.parse().ok();
        text.lines().filter_map(value).collect()
    };
    let python = std::env::var_os("COILSCORE_PYTHON").unwrap_or_else(|| "python3".into());
    let reader = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/read_duty_file.py");
    let read = Command::new(python).arg(reader).arg(&file).arg("--csv").output().unwrap();
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    let by_python = times(&String::from_utf8_lossy(&read.stdout), 1);
    let by_us = times(&std::fs::read_to_string(csv).unwrap(), 1);
    assert_eq!(by_python.len(), codes(&file).len());
    assert_eq!((by_python[0], by_python[200]), (0.0, 1.0));
    assert_eq!((by_us[0], by_us[200]), (0.0, 1.0));
    let said = String::from_utf8_lossy(&read.stderr);
    assert!(said.contains("lead"), "it says how far frames lead: {said}");
}

/// The picture's own judgement of how late the fluid will be, from the file alone.
#[test]
fn a_picture_says_how_late_the_fluid_will_be() {
    let dir = desk();
    let late_ms = |as_live: bool, lag: &str| {
        let (_, file) = made(dir.path(), lag, as_live);
        let mut reader = open_duty_file(&file).unwrap();
        let mut timeline = TimelineBuilder::new(reader.head()).unwrap();
        while let Some(entry) = reader.next_entry().unwrap() {
            if let Entry::Duty { frame, codes } = entry {
                timeline.duty(u64::from(frame), codes);
            }
        }
        timeline.finish(Ending::Whole).fluid_late_s().map(|late_s| 1000.0 * late_s)
    };
    assert_eq!(late_ms(false, ""), None, "nothing is known of that fluid");
    let (live, led) = (late_ms(true, LAG).unwrap(), late_ms(false, LAG).unwrap());
    println!("as live {live:+.1} ms, from a file {led:+.1} ms");
    assert!((70.0..140.0).contains(&live), "{live}");
    assert!(led.abs() < 20.0, "{led}");
}
