//! The program itself: several songs, the table of what was taken, refusals.

use std::path::Path;
use std::process::{Command, Output};

use super::common::{HOT_RING, one_band};
use super::{SOUND_HZ, bursts, read};

fn render(dir: &Path, rest: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .current_dir(dir)
        .args(["render", "--preset", "map.toml", "--display", "hot.toml", "--rate", "50"])
        .args(rest)
        .output()
        .unwrap()
}

fn bench() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    std::fs::write(at("map.toml"), one_band("ring", 100.0, 3000.0, -45.0, -20.0)).unwrap();
    std::fs::write(at("hot.toml"), HOT_RING).unwrap();
    std::fs::create_dir(at("out")).unwrap();
    std::fs::create_dir(at("more")).unwrap();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SOUND_HZ,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    for (name, seconds) in [("one.wav", 30), ("two.wav", 20), ("more/one.wav", 5)] {
        let mut wav = hound::WavWriter::create(at(name), spec).unwrap();
        bursts(seconds).into_iter().for_each(|sample| wav.write_sample(sample).unwrap());
        wav.finalize().unwrap();
    }
    dir
}

#[test]
fn several_songs_become_a_file_each_and_are_explained() {
    let dir = bench();
    let run = render(
        dir.path(),
        &["one.wav", "two.wav", "--out", "out", "--explain", "--report", "report.json"],
    );
    let text = String::from_utf8(run.stdout).unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    assert!(text.contains("ring 24"), "every coil has its line: {text}");
    assert!(text.contains("planned gains 0."), "{text}");
    let (one, two) =
        (read(&dir.path().join("out/one.duty")), read(&dir.path().join("out/two.duty")));
    assert_eq!((&*one.0.start, &*two.0.start), ("cold", "nodes"));
    let report = std::fs::read_to_string(dir.path().join("report.json")).unwrap();
    let report: serde_json::Value = serde_json::from_str(&report).unwrap();
    assert_eq!(report["songs"].as_array().unwrap().len(), 2);
    assert_eq!(report["plan"]["gains"].as_array().unwrap().len(), 24);
    assert!(report["plan"]["all"]["likeness"][0].as_f64().unwrap() > 0.99, "{report}");
}

#[test]
fn a_plan_can_be_left_out_and_as_live_has_none() {
    let dir = bench();
    for flag in ["--no-plan", "--as-live"] {
        assert!(render(dir.path(), &["one.wav", "--out", "a.duty", flag]).status.success());
        let (head, _, tail) = read(&dir.path().join("a.duty"));
        assert!(head.gains.is_empty() && tail.gained.is_none(), "{flag}");
    }
}

#[test]
fn what_cannot_be_is_refused_before_anything_is_written() {
    let dir = bench();
    let before = std::fs::read_dir(dir.path()).unwrap().count();
    for (flags, says) in [
        (&["one.wav", "two.wav", "--out", "nowhere"][..], "must be a folder"),
        (&["one.wav", "more/one.wav", "--out", "out"], "both become"),
        (&["one.wav", "-", "--out", "out"], "must be files"),
        (&["one.wav", "two.wav", "--out", "out", "--as-live"], "are for one song"),
        (&["one.wav", "two.wav", "--out", "out", "--csv", "a.csv"], "are for one song"),
        (&["one.wav", "--out", "a.duty", "--no-plan", "--explain"], "cannot be used with"),
        (&["--out", "a.duty"], "required"),
    ] {
        let run = render(dir.path(), flags);
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(2), "{flags:?}: {said}");
        assert!(said.contains(says), "{flags:?}: {said}");
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), before);
    assert_eq!(std::fs::read_dir(dir.path().join("out")).unwrap().count(), 0);
}

#[test]
#[cfg(unix)]
fn a_long_list_of_songs_needs_few_open_files() {
    let dir = bench();
    let names: Vec<String> = (0..40).map(|n| format!("song-{n}.wav")).collect();
    for name in &names {
        std::fs::copy(dir.path().join("more/one.wav"), dir.path().join(name)).unwrap();
    }
    let mut shell = Command::new("sh");
    shell.current_dir(dir.path()).args(["-c", "ulimit -n 24 && exec \"$0\" \"$@\""]);
    shell.args([env!("CARGO_BIN_EXE_coilscore"), "render", "--preset", "map.toml"]);
    shell.args(["--display", "hot.toml", "--rate", "50", "--out", "out"]).args(&names);
    let run = shell.output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    for name in &names {
        let file = dir.path().join("out").join(name).with_extension("duty");
        let (head, frames, tail) = read(&file);
        assert!(!head.gains.is_empty() && tail.gained.is_some(), "{name} has no plan");
        assert_eq!(frames.len(), tail.frames as usize);
    }
}

#[test]
fn a_song_that_cannot_be_opened_is_told_before_the_first_is_heard() {
    let dir = bench();
    std::fs::write(dir.path().join("bad.wav"), "no sound").unwrap();
    let run = render(dir.path(), &["one.wav", "bad.wav", "--out", "out"]);
    assert_eq!(run.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&run.stderr).contains("bad.wav"));
    assert_eq!(std::fs::read_dir(dir.path().join("out")).unwrap().count(), 0);
}

/// 24 coils and a band at 1000 frames/s are about 200 kB a second, and 32 MB stay in memory.
#[test]
#[cfg(unix)]
fn a_folder_that_cannot_hold_frames_is_named() {
    let dir = bench();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SOUND_HZ,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut wav = hound::WavWriter::create(dir.path().join("long.wav"), spec).unwrap();
    bursts(180).into_iter().for_each(|sample| wav.write_sample(sample).unwrap());
    wav.finalize().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .current_dir(dir.path())
        .env("TMPDIR", dir.path().join("gone"))
        .args(["render", "long.wav", "--preset", "map.toml", "--display", "hot.toml"])
        .args(["--rate", "1000", "--out", "long.duty"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert_eq!(run.status.code(), Some(1), "{said}");
    let folder = dir.path().join("gone").display().to_string();
    assert!(said.contains(&folder) && said.contains("TMPDIR"), "{said}");
}
