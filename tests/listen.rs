//! `listen` as a user runs it, on a recording of an input.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

use std::process::Command;

use tempfile::TempDir;

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn listen_judges_a_recording_of_the_input() {
    let dir = TempDir::new().unwrap();
    let run = |args: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(args).current_dir(dir.path()).output().unwrap()
    };
    assert!(run(&["demo", "--out", "demo", "--quiet"]).status.success());
    let out = run(&["listen", "demo/demo-song.wav", "--seconds", "12"]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let said = text(&out.stdout);
    assert!(said.starts_with("heard 12.0 s at 44100 Hz, 2 channels\n"), "{said}");
    for topic in ["level", "clipping", "hum", "legs", "meddling"] {
        assert!(
            said.lines().any(|line| line.get(2..).is_some_and(|l| l.starts_with(topic))),
            "{said}"
        );
    }
    assert!(said.lines().all(|line| line.chars().count() <= 100), "{said}");
    let out = run(&["listen", "demo/demo-song.wav", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert!(
        json["loud_dbfs"].as_f64().is_some_and(|level| (-40.0..0.0).contains(&level)),
        "{json}"
    );
    assert_eq!(json["advice"].as_array().map(Vec::len), Some(5), "{json}");
    let out = run(&["listen", "demo/demo-song.wav", "--seconds", "0"]);
    assert_eq!(out.status.code(), Some(2));
}
