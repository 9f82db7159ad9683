//! `coilscore events` as a user runs it.

use std::path::Path;
use std::process::{Command, Output};

use coilscore::audio::file::save_wav;
use coilscore::audio::tone::Samples;

use crate::score::f_measure;
use crate::songs::{Song, drums};

fn run(dir: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.arg("events").args(args).current_dir(dir).output().unwrap()
}

fn song(dir: &Path) -> Song {
    let song = drums(118.0, 8.0, 44_100, 12);
    let mut source = Samples::new(44_100, 1, song.samples.clone()).unwrap();
    save_wav(&dir.join("song.wav"), &mut source).unwrap();
    song
}

/// Times and moments of knowing of one kind.
fn read(table: &str, kind: &str) -> Vec<(f64, f64)> {
    let mut lines = table.lines();
    assert_eq!(lines.next(), Some("time_s,kind,strength,emitted_s"));
    let mut rows = Vec::new();
    let mut before = 0.0;
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells.len(), 4, "{line}");
        let number = |cell: usize| cells[cell].parse::<f64>().unwrap();
        assert!(number(0) >= before && (0.0..=1.0).contains(&number(2)), "{line}");
        assert!(["onset", "kick", "snare", "hat", "beat"].contains(&cells[1]), "{line}");
        before = number(0);
        if cells[1] == kind {
            rows.push((number(0), number(3)));
        }
    }
    rows
}

#[test]
fn the_table_says_what_and_when() {
    let dir = tempfile::tempdir().unwrap();
    let truth = song(dir.path());
    for (flag, least_ms, most_ms) in [("--as-live", 2.0, 20.0), ("--look-ahead", 28.0, 60.0)] {
        let said = run(dir.path(), &["song.wav", flag, "--out", "events.csv"]);
        assert_eq!(said.status.code(), Some(0), "{}", String::from_utf8_lossy(&said.stderr));
        assert!(String::from_utf8_lossy(&said.stderr).contains("onsets"));
        let table = std::fs::read_to_string(dir.path().join("events.csv")).unwrap();
        for (kind, truth) in [("onset", &truth.onsets), ("kick", &truth.kicks)] {
            let rows = read(&table, kind);
            let times: Vec<f64> = rows.iter().map(|row| row.0).collect();
            assert!(f_measure(truth, &times, 0.025) > 0.9, "{kind} {flag}");
            for (time_s, emitted_s) in rows {
                let ms = 1e3 * (emitted_s - time_s);
                assert!((least_ms..most_ms).contains(&ms), "{kind} {flag} at {time_s}: {ms} ms");
            }
        }
    }
    let plain = run(dir.path(), &["song.wav", "--quiet"]);
    let ahead = std::fs::read_to_string(dir.path().join("events.csv")).unwrap();
    assert_eq!(String::from_utf8_lossy(&plain.stdout), ahead, "look-ahead is the default");
    assert!(plain.stderr.is_empty());
}

#[test]
fn refusals_are_sentences() {
    let dir = tempfile::tempdir().unwrap();
    song(dir.path());
    std::fs::write(dir.path().join("note.txt"), "no sound").unwrap();
    for (args, code, word) in [
        (&["song.wav", "--out", "song.wav"][..], 2, "overwritten"),
        (&["song.wav", "--out", "events.txt"], 2, ".csv"),
        (&["song.wav", "--as-live", "--look-ahead"], 2, "cannot be used with"),
        (&["none.wav"], 1, "no such file"),
        (&["note.txt"], 1, "name a sound file"),
    ] {
        let said = run(dir.path(), args);
        let text = String::from_utf8_lossy(&said.stderr);
        assert_eq!(said.status.code(), Some(code), "{args:?}: {text}");
        assert!(text.contains(word), "{args:?}: {text}");
        assert!(!dir.path().join("events.txt").exists());
    }
}
