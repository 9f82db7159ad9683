//! What commands say in odd moments: odd names, no keys, no room, nothing to do.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

mod common;
#[path = "common/desk.rs"]
mod desk;

use std::io::Write as _;
use std::process::Stdio;

use desk::{Desk, Run};

#[test]
fn budget_says_what_a_pulse_too_long_for_heat_does_and_what_helps() {
    let desk = Desk::new();
    // 30 us at 10 kHz are a duty of 0.3.
    let pulsed = "steps = 4095\npwm_hz = 10000\nmin_on_us = 30";
    desk.write("display.toml", &common::HOT_RING.replace("steps = 4095", pulsed));
    let said = desk.run(&["budget", "--display", "display.toml"]).told;
    let note = said.lines().find(|line| line.contains("for ever, and the least")).unwrap();
    for word in ["1-24", "0.30012", "off and on", "min_on_us", "pwm_hz", "cooling"] {
        assert!(note.contains(word), "{word} is missing: {note}");
    }
    assert!(said.lines().any(|line| line.ends_with(" driver")), "{said}");
    let json = desk.run(&["budget", "--display", "display.toml", "--json"]).told;
    let report: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(report["notes"][0], note);
    assert_eq!(report["coils"][23]["binds"], "driver");
    assert_eq!(report["coils"][23]["in_the_end"], "on_and_off");
    desk.write("display.toml", common::HOT_RING);
    let said = desk.run(&["budget", "--display", "display.toml"]).told;
    assert!(!said.contains("for ever, and the least"), "{said}");
}

#[test]
fn a_check_of_nothing_says_where_files_come_from() {
    let run = Desk::new().run(&["check"]);
    assert_eq!(run.code, Some(2), "{}", run.errors);
    for word in ["--preset", "--display", "presets/displays", "coilscore demo"] {
        assert!(run.errors.contains(word), "{word} is missing: {}", run.errors);
    }
}

#[test]
#[cfg(unix)]
fn names_with_line_ends_stay_on_their_line() {
    let desk = Desk::new();
    let odd = "one\nerror: two\t\u{1b}[31m";
    let written = "one\\u{a}error: two\\u{9}\\u{1b}[31m";
    desk.write(&format!("{odd}.toml"), "schema = 1\nnothing = 0\n");
    desk.write(&format!("{odd}.wav"), "no sound");
    desk.write(&format!("{odd}.duty"), "no duty");
    let (toml, wav, duty) = (format!("{odd}.toml"), format!("{odd}.wav"), format!("{odd}.duty"));
    let gone = format!("{odd}/gone.duty");
    let display = ["--preset", "mapping.toml", "--display", "display.toml"];
    for args in [
        vec!["check", "--display", &toml],
        vec!["check", "--display", "display.toml", "--preset", &toml],
        vec!["picture", &duty],
        vec!["events", &wav],
        vec!["convert", &duty, "a.csv"],
        [&["render", &wav, "--out", "a.duty"][..], &display].concat(),
        [&["render", "display.toml", "--out", &gone][..], &display].concat(),
        vec!["budget", "--display", "display.toml", "--try", &wav],
        vec!["fit", &wav, "--display", "display.toml"],
        vec!["play", &duty, "--display", "display.toml", "--dry-run"],
    ] {
        let run = desk.run(&args);
        assert!(matches!(run.code, Some(1 | 2)), "{args:?}: {:?} {}", run.code, run.told);
        assert!(!run.errors.contains("one\n"), "{args:?}: {}", run.errors);
        if !run.errors.contains("display.toml: ") {
            assert!(run.errors.contains(written), "{args:?}: {}", run.errors);
        }
    }
}

/// What was typed comes back in what is said about it: on its line, and without orders to the terminal.
#[test]
fn what_was_typed_wrong_is_written_out() {
    let desk = Desk::new();
    let walk = ["walk", "--dry-run", "--display", "display.toml", "--seconds"];
    for args in [
        &[&walk[..], &["5\nerror: two\u{7}\u{202e}"]].concat()[..],
        &["five\nerror: two\u{7}\u{202e}"],
        &["render", "--five\nerror: two\u{7}\u{202e}"],
        &["render", "a", "--arith", "5\nerror: two\u{7}\u{202e}"],
    ] {
        let run = desk.run(args);
        assert_eq!(run.code, Some(2), "{args:?}");
        assert!(run.errors.contains("\\u{a}error: two\\u{7}\\u{202e}"), "{}", run.errors);
        let through = |c: char| c == '\u{202e}' || (c != '\n' && c.is_control());
        assert!(!run.errors.contains(through), "{args:?}: {}", run.errors.escape_debug());
    }
}

/// POSIX's utilities end with more than 0 when an error occurred, and XCU 1.4 counts a failed write to
/// standard output as one.
#[test]
#[cfg(target_os = "linux")]
fn help_that_could_not_be_written_has_failed() {
    let desk = Desk::new();
    for args in [&["--help"][..], &["render", "--help"], &["--version"], &["help", "walk"]] {
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let run = Run::from(desk.command(args).stdout(full).output().unwrap());
        assert_eq!(run.code, Some(1), "{args:?}: {}", run.errors);
        assert!(run.errors.contains("standard output"), "{args:?}: {}", run.errors);
        assert_eq!(desk.run(args).code, Some(0), "{args:?}");
    }
    assert_eq!(desk.run(&["--hlep"]).code, Some(2));
}

#[test]
fn a_walk_that_waits_for_keys_is_refused_where_none_can_come() {
    let desk = Desk::new();
    for more in [&[][..], &["--lift"]] {
        let args = [&["walk", "--dry-run", "--display", "display.toml"][..], more].concat();
        let run = desk.run(&args);
        assert_eq!(run.code, Some(2), "{args:?}: {}", run.errors);
        for word in ["standard input has ended", "--seconds"] {
            assert!(run.errors.contains(word), "{args:?}: {}", run.errors);
        }
        assert!(!run.told.contains("nothing was marked"), "{args:?}: {}", run.told);
    }
    // Keys that end before the walk does leave it undone.
    let mut walk = desk.command(&["walk", "--dry-run", "--display", "display.toml"]);
    walk.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut walk = walk.spawn().unwrap();
    walk.stdin.take().unwrap().write_all(b"nd").unwrap();
    let run = Run::of(walk);
    assert_eq!(run.code, Some(1), "{}", run.errors);
    assert!(run.errors.contains("keys ended before the walk"), "{}", run.errors);
    assert!(run.told.contains("walked 2 of 24 coils"), "{}", run.told);
    let alone = ["walk", "--dry-run", "--display", "display.toml", "--seconds", "0.02"];
    let run = desk.run(&alone);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    assert!(run.told.contains("walked 24 of 24 coils"), "{}", run.told);
}

/// 0.3 A is what 12 V at half duty send through 10 ohm when the current never changes (half of 0.6 A,
/// half of the time), 0.6 A when it has no inductance: nothing in between, so no figure for L.
#[test]
fn currents_at_the_ends_of_what_can_be_are_told_so() {
    let desk = Desk::new();
    for (amps, words) in [
        ("0.3", "0.3 A is not more than the 0.3000 A"),
        ("0.6", "0.6 A is not less than the 0.6000 A"),
    ] {
        let bench = ["fit", "--inductance", "--supply-v", "12", "--ohm", "10", "--pwm-hz", "20000"];
        let run = desk.run(&[&bench[..], &["--supply-a", amps]].concat());
        assert_eq!(run.code, Some(2), "{}", run.errors);
        assert!(run.errors.contains(words), "{}", run.errors);
    }
}
