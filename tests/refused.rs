//! What a newcomer types wrong: one sentence each, the right exit code, and nothing written over.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "tests stop at the first surprise"
)]

mod common;

use std::process::{Command, Stdio};

use tempfile::TempDir;

struct Desk {
    dir: TempDir,
}

impl Desk {
    fn new() -> Self {
        let desk = Self { dir: TempDir::new().unwrap() };
        std::fs::write(desk.dir.path().join("display.toml"), common::HOT_RING).unwrap();
        let linked = format!("display = \"display.toml\"\n{}", common::BUSY);
        std::fs::write(desk.dir.path().join("mapping.toml"), linked).unwrap();
        for name in ["song.wav", "display.heat", "requests.csv"] {
            std::fs::write(desk.dir.path().join(name), name.repeat(50)).unwrap();
        }
        desk
    }

    /// Exit code and standard error.
    fn run(&self, line: &str) -> (Option<i32>, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(line.split_whitespace()).current_dir(self.dir.path()).stdin(Stdio::null());
        let run = command.output().unwrap();
        (run.status.code(), String::from_utf8_lossy(&run.stderr).into_owned())
    }

    /// All files there, with what is in them.
    fn files(&self) -> Vec<(std::path::PathBuf, Vec<u8>)> {
        let files = std::fs::read_dir(self.dir.path()).unwrap().map(|file| file.unwrap().path());
        let mut files: Vec<_> =
            files.map(|path| (path.clone(), std::fs::read(path).unwrap())).collect();
        files.sort();
        files
    }
}

#[test]
fn no_output_may_be_what_is_read_or_kept() {
    let desk = Desk::new();
    let before = desk.files();
    for line in [
        "render song.wav --preset mapping.toml --out song.wav",
        "render song.wav --preset mapping.toml --out mapping.toml",
        "render song.wav --preset mapping.toml --out display.toml",
        "render song.wav --preset mapping.toml --out display.heat",
        "render song.wav --preset mapping.toml --display display.toml --out x.duty --csv display.toml",
        "render song.wav --preset mapping.toml --out x.duty --report display.heat",
        "render song.wav --preset mapping.toml --out x.duty --report x.duty",
        "check --display display.toml --sheet --picture display.toml",
        "check --preset mapping.toml --picture display.toml",
        "check --preset mapping.toml --picture mapping.toml",
        "budget --display display.toml --try requests.csv --out display.toml",
        "budget --display display.toml --try requests.csv --out display.heat",
        "budget --display display.toml --try requests.csv --start song.wav --out song.wav",
        "bias --display display.toml --picture display.heat",
        "events song.wav --out song.wav",
        "coil spiral --inner-mm 5 --outer-mm 30 --trace-mm 0.3 --space-mm 0.2 --sweep layers=1..4 \
         --out y --picture y",
    ] {
        let (code, said) = desk.run(line);
        assert_eq!(code, Some(2), "{line}: {said}");
        assert!(said.contains("would be overwritten"), "{line}: {said}");
        assert!(desk.files() == before, "{line} changed a file");
    }
    let (_, said) = desk.run("events song.wav --out song.wav");
    assert!(!said.contains("by song.wav"), "a file is not overwritten by itself: {said}");
}

#[test]
fn a_negative_number_is_a_number_and_out_of_range() {
    let desk = Desk::new();
    for (line, words) in [
        ("render song.wav --preset mapping.toml --out x.duty --channel -1", "number of a channel"),
        ("walk --display display.toml --dry-run --seconds -1", "0.02 to 600"),
        ("listen --seconds -1", "-1"),
        (
            "coil spiral --inner-mm -5 --outer-mm 30 --trace-mm 0.3 --space-mm 0.2",
            "inner diameter is -5 mm",
        ),
        ("render song.wav --preset mapping.toml --out x.duty --rate -200", "-200"),
    ] {
        let (code, said) = desk.run(line);
        assert_eq!(code, Some(2), "{line}: {said}");
        assert!(said.contains(words) && !said.contains("unexpected argument"), "{line}: {said}");
    }
}

#[cfg(feature = "capture")]
#[test]
fn an_input_that_cannot_be_is_refused_once() {
    let desk = Desk::new();
    for (line, words) in [
        ("live --preset mapping.toml --dry-run --input-channels 0", "1..=32"),
        ("live --preset mapping.toml --dry-run --input-rate 12", "8000..=192000"),
        ("live --preset mapping.toml --dry-run --seconds -1", "a time in seconds above 0"),
    ] {
        let (code, said) = desk.run(line);
        assert_eq!(code, Some(2), "{line}: {said}");
        assert!(said.contains(words) && said.lines().count() < 6, "{line}: {said}");
    }
}

#[cfg(all(unix, feature = "serial"))]
#[test]
fn what_is_no_port_is_said_in_words() {
    let desk = Desk::new();
    for (port, words) in [
        ("/dev/null", "this is no serial port"),
        ("song.wav", "this is no serial port"),
        ("/dev/no-such-port", "there is no such port"),
    ] {
        let (code, said) = desk.run(&format!("board --port {port} --baud 115200"));
        assert_eq!(code, Some(1), "{port}: {said}");
        assert!(said.contains(words) && !said.contains("typewriter"), "{port}: {said}");
    }
}

#[test]
fn what_is_no_duty_file_is_said_in_words() {
    let desk = Desk::new();
    std::fs::write(desk.dir.path().join("empty.duty"), "").unwrap();
    for (line, words) in [
        ("picture empty.duty", "it is empty"),
        ("picture .", "it cannot be read"),
        ("play . --display display.toml --dry-run", "it cannot be read"),
        ("picture song.wav", "no duty file"),
        ("picture missing.duty", "it cannot be read"),
    ] {
        let (code, said) = desk.run(line);
        assert!(matches!(code, Some(1 | 2)), "{line}: {said}");
        assert!(said.contains(words) && !said.contains("byte 0"), "{line}: {said}");
    }
}

#[test]
fn ports_says_nothing_on_standard_error() {
    let (code, said) = Desk::new().run("ports");
    assert_eq!((code, said.as_str()), (Some(0), ""));
}

/// Whoever drives coils is cautioned where the command is looked up, too.
#[test]
fn help_of_what_drives_coils_cautions() {
    for command in ["play", "walk"] {
        let mut help = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        let help = help.args([command, "--help"]).output().unwrap();
        let said = String::from_utf8(help.stdout).unwrap();
        assert!(said.contains("CAUTION: coils"), "{command}: {said}");
    }
}
