//! Sound that is played again, kept back; and a song in step with its frames. Both are heard from
//! a second output of the sound server.
//!
//! Times are printed, not judged, as the machine may be busy. Judged is what does not hang on it.

use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Instant;

use coilscore::audio::Source;
use coilscore::audio::capture::{Capture, Wanted};
use tempfile::TempDir;

use crate::bench::{Desk, OnLine, one_channel, text};
use crate::board::Seen;
use crate::common;
use crate::delay::write_clicks;
use crate::loopback::Loopback;
use crate::stage::{Live, desk};

const CLICKS: usize = 30;
/// Instants between them: half a second, so that it is clear which belongs to which.
const APART: usize = 24_571;

/// A click: which instant of the input it was, and when it was captured, s since a moment.
#[derive(Debug, Clone, Copy)]
struct Click {
    instant: u64,
    at_s: f64,
}

/// Hears an input until it has so many clicks, or is told to stop.
fn listen(input: &str, began: Instant, stop: &Arc<AtomicBool>) -> JoinHandle<Vec<Click>> {
    let wanted =
        Wanted { input: Some(input.into()), buffer: 256, rate_hz: Some(48_000), channels: Some(2) };
    let mut capture = Capture::open(&wanted, Arc::clone(stop), Box::new(|_| {})).unwrap();
    let gauges = capture.gauges();
    thread::spawn(move || {
        let (mut clicks, mut heard, mut quiet) = (Vec::<Click>::new(), 0_u64, 10_000_u64);
        while let Some(block) = capture.next_block().unwrap() {
            let first_s = began.elapsed().as_secs_f64() - gauges.read().age_ns as f64 * 1e-9;
            for (at, instant) in block.interleaved().chunks(2).enumerate() {
                // A click that was resampled has ripples around it.
                quiet += 1;
                if instant[0] > 0.3 && quiet > 1000 {
                    let at_s = first_s + at as f64 / 48_000.0;
                    clicks.push(Click { instant: heard + at as u64, at_s });
                    quiet = 0;
                }
            }
            heard += block.instants() as u64;
        }
        clicks
    })
}

/// Runs one of the tests below in the sound server's environment.
fn inside(sound: &Loopback, test: &str, dir: &std::path::Path) {
    let mut inside = Command::new(std::env::current_exe().unwrap());
    sound.surround(&mut inside);
    inside.args(["--exact", test, "--ignored", "--nocapture", "--test-threads=1"]);
    inside.env("COILSCORE_DESK", dir);
    let output = inside.output().unwrap();
    println!("{}", text(&output.stdout));
    assert!(output.status.success(), "{}", text(&output.stderr));
}

fn there() -> std::path::PathBuf {
    std::env::var_os("COILSCORE_DESK").expect("started by the tests beside it").into()
}

fn spread(what: &str, mut ms: Vec<f64>) {
    ms.sort_by(f64::total_cmp);
    let at = |share: f64| ms[(share * (ms.len() - 1) as f64) as usize];
    println!(
        "{what}: median {:.1} ms, 10 % {:.1}, 90 % {:.1}, of {}",
        at(0.5),
        at(0.1),
        at(0.9),
        ms.len()
    );
}

#[test]
fn what_is_heard_is_played_later() {
    let (sound, desk) = (Loopback::start(), desk());
    write_clicks(&desk.path("clicks.wav"), CLICKS, APART);
    let more = ["--dry-run", "--sound-out", Loopback::BACK, "--delay", "150"];
    let mut live = Live::start(&desk, &sound, &more);
    live.until("sound", |second| second["input"]["alive"] == true);
    inside(&sound, "kept_back::hears_both", &desk.path(""));
    live.press("q");
    while live.second().is_some() {}
    let ended = live.end();
    assert_eq!(ended.code, Some(0), "{}", ended.told);
    assert!(
        ended.told.contains("plays it through alsa:back at 48000 Hz, 150 ms"),
        "{}",
        ended.told
    );
    assert!(ended.told.contains("hearing"), "the caution is said: {}", ended.told);
}

#[test]
#[ignore = "started by what_is_heard_is_played_later, in the environment it needs"]
fn hears_both() {
    let (began, stop) = (Instant::now(), Arc::new(AtomicBool::new(false)));
    let heard = listen(Loopback::INPUT, began, &stop);
    let back = listen(Loopback::BACK_HEARD, began, &stop);
    let song = there().join("clicks.wav");
    let played = Command::new("paplay").arg("--latency-msec=20").arg(song).status().unwrap();
    assert!(played.success());
    thread::sleep(std::time::Duration::from_secs(1));
    stop.store(true, Ordering::Relaxed);
    let (heard, back) = (heard.join().unwrap(), back.join().unwrap());
    println!("{} clicks heard, {} played again", heard.len(), back.len());
    assert!(heard.len() >= CLICKS / 2 && back.len() >= CLICKS / 3);
    // Each of the later ones belongs to the newest of the sooner ones.
    let later = back.iter().filter_map(|late| {
        let soon = heard.iter().rev().find(|soon| soon.at_s < late.at_s)?;
        Some(1000.0 * (late.at_s - soon.at_s))
    });
    spread("kept back", later.collect());
    // A busy machine leaves gaps and leaps over them; what an idle one does is judged in simulated
    // time.
    let mut apart: Vec<u64> =
        back.windows(2).map(|pair| pair[1].instant - pair[0].instant).collect();
    apart.sort_unstable();
    let middle = apart[apart.len() / 2];
    println!("{middle} instants apart in the middle, {APART} were played");
    assert!(middle.abs_diff(APART as u64) < APART as u64 / 50, "{middle} instead of {APART}");
}

#[test]
fn an_output_that_goes_away_is_opened_again() {
    let (mut sound, desk) = (Loopback::start(), desk());
    write_clicks(&desk.path("clicks.wav"), CLICKS, APART);
    let more = ["--dry-run", "--sound-out", Loopback::BACK, "--delay", "150"];
    let mut live = Live::start(&desk, &sound, &more);
    let plays = |second: &serde_json::Value| {
        second["sound_out"]["alive"] == true
            && second["sound_out"]["held_ms"].as_f64().is_some_and(|held_ms| held_ms > 0.0)
    };
    let alive = live.until("sound", plays);
    assert_eq!(alive["sound_out"]["output"], Loopback::BACK, "{alive}");
    // A server that loses one output moves its sound to another: only with the server is it gone.
    sound.kill();
    let lost = live.until("the loss", |second| second["sound_out"]["alive"] == false);
    assert_eq!(lost["sound_out"]["losses"], 1, "{lost}");
    sound.revive();
    live.until("the return", |second| {
        second["sound_out"]["alive"] == true && second["input"]["alive"] == true
    });
    inside(&sound, "kept_back::hears_both", &desk.path(""));
    live.press("q");
    let mut last = lost;
    while let Some(second) = live.second() {
        last = second;
    }
    assert_eq!(last["sound_out"]["losses"], 1, "{last}");
    assert!(last["sound_out"]["held_ms"].as_f64().unwrap() > 0.0, "{last}");
    let ended = live.end();
    assert_eq!(ended.code, Some(0), "{}", ended.told);
    assert!(ended.told.contains("output is gone"), "{}", ended.told);
    assert!(ended.told.contains("output is back"), "{}", ended.told);
}

#[test]
fn a_song_is_played_in_step_with_its_frames() {
    let (sound, dir) = (Loopback::start(), TempDir::new().unwrap());
    write_clicks(&dir.path().join("clicks.wav"), CLICKS, APART);
    std::fs::write(dir.path().join("display.toml"), common::UNLIMITED).unwrap();
    let mapping = common::one_band("one", 6000.0, 14_000.0, -90.0, -30.0);
    std::fs::write(dir.path().join("mapping.toml"), mapping).unwrap();
    let render = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .current_dir(dir.path())
        .args(["render", "clicks.wav", "--preset", "mapping.toml", "--display", "display.toml"])
        .args(["--out", "clicks.duty", "--quiet"])
        .output()
        .unwrap();
    assert!(render.status.success(), "{}", text(&render.stderr));
    inside(&sound, "kept_back::plays_in_step", dir.path());
}

#[test]
fn another_song_than_the_frames_were_made_from_is_told() {
    let (sound, desk) = (Loopback::start(), Desk::new(common::UNLIMITED));
    let mapping = common::one_band("one", 6000.0, 14_000.0, -90.0, -30.0);
    std::fs::write(desk.path("mapping.toml"), mapping).unwrap();
    write_clicks(&desk.path("clicks.wav"), 2, APART);
    write_clicks(&desk.path("other.wav"), 3, APART);
    let render = ["render", "clicks.wav", "--preset", "mapping.toml", "--out", "clicks.duty"];
    let render = desk.command(&render).args(["--display", "display.toml"]).output().unwrap();
    assert!(render.status.success(), "{}", text(&render.stderr));
    let tells = |song: &str| {
        let line = OnLine::at(one_channel(), Some(1_000_000));
        let mut play = desk.command(&["play", "clicks.duty", "--display", "display.toml"]);
        sound.surround(&mut play);
        play.args(["--baud", "1000000", "--heat", "none", "--start", "cold", "--sound", song]);
        play.args(["--sound-out", Loopback::BACK, "--port", &line.name()]);
        text(&play.output().unwrap().stderr)
    };
    let told = tells("other.wav");
    assert!(told.contains("other.wav: not the sound that clicks.duty was made from"), "{told}");
    assert!(!tells("clicks.wav").contains("not the sound"));
}

#[test]
#[ignore = "started by a_song_is_played_in_step_with_its_frames, in the environment it needs"]
fn plays_in_step() {
    let line = OnLine::at(one_channel(), Some(1_000_000));
    let (began, stop) = (Instant::now(), Arc::new(AtomicBool::new(false)));
    let back = listen(Loopback::BACK_HEARD, began, &stop);
    let play = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .current_dir(there())
        .args(["play", "clicks.duty", "--display", "display.toml", "--baud", "1000000"])
        .args(["--sound", "clicks.wav", "--sound-out", Loopback::BACK, "--heat", "none"])
        .args(["--start", "cold", "--port", &line.name()])
        .stdin(Stdio::null())
        .output()
        .unwrap();
    stop.store(true, Ordering::Relaxed);
    let back = back.join().unwrap();
    println!("{}", text(&play.stdout));
    assert!(play.status.success(), "{}", text(&play.stderr));
    assert!(!text(&play.stderr).contains("not the sound"), "{}", text(&play.stderr));
    assert!(back.len() >= CLICKS / 2, "{} clicks", back.len());
    let shown: Vec<f64> = line
        .board()
        .seen
        .iter()
        .filter_map(|seen| match seen {
            Seen::Duty { frame, at_s, .. } => Some((*frame, *at_s)),
            _ => None,
        })
        .filter_map(|(frame, at_s)| {
            // The frame that a click is first in: ceil of its instant over 240.
            let clicks = (0..CLICKS).map(|click| ((24_000 + click * APART) / 240 + 1) as u32);
            clicks.into_iter().any(|first| first == frame).then_some(at_s)
        })
        .collect();
    assert!(shown.len() >= CLICKS / 2, "{} frames of clicks came", shown.len());
    let nearest = |at_s: f64| {
        let off = back.iter().map(|click| at_s - click.at_s);
        off.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap()
    };
    spread("a frame after its sound", shown.iter().map(|at_s| 1000.0 * nearest(*at_s)).collect());
}
