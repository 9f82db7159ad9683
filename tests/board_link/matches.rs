//! Boards that do not match, lines that are too slow: refused before anything moves, with reasons.

use std::io::Write;

use crate::bench::{Desk, OnLine, count_duties, text};
use crate::board::Plan;
use crate::common;

fn ring() -> Plan {
    Plan { channels: 24, steps: 4095, hold_ms: 250, pwm_hz: 0, ..Plan::default() }
}

fn refused(plan: Plan, more: &[&str]) -> String {
    let desk = Desk::new(common::HOT_RING);
    desk.render(1, "50");
    let line = OnLine::new(plan);
    let port = line.name();
    let args = ["play", "song.duty", "--display", "display.toml", "--port", port.as_str()];
    let run = desk.run(&[&args[..], more].concat());
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    assert_eq!(count_duties(&line.board()), 0, "a board that does not match was driven");
    assert!(!desk.path("display.heat").exists(), "nothing was driven, so no heat is kept");
    text(&run.stderr)
}

#[test]
fn a_board_that_does_not_match_is_refused_with_all_that_differs() {
    let fast = ["--baud", "1000000"];
    let few = refused(Plan { channels: 16, ..ring() }, &fast);
    assert!(few.contains("it has 16 channels, and the display wires channel 23"), "{few}");
    let other = refused(Plan { steps: 1023, two_way: true, ..ring() }, &fast);
    assert!(other.contains("1023 steps, the display's 4095"), "{other}");
    assert!(other.contains("pushes both ways"), "{other}");
    assert!(other.contains("Change the display file or the board"), "{other}");
}

#[test]
fn a_line_that_is_too_slow_is_refused_with_its_arithmetic() {
    // 47 bytes, 50 times a second: 23500 bit/s.
    let slow = refused(ring(), &["--baud", "19200"]);
    assert!(slow.contains("50 frames/s of 47 bytes are 23500 bit/s"), "{slow}");
    assert!(slow.contains("19200 baud kept at 95 % carries 38.8 frames/s"), "{slow}");
    let none = refused(ring(), &[]);
    assert!(none.contains("give --baud"), "{none}");
}

#[test]
fn a_port_that_is_not_there_and_a_board_that_is_mute_are_told_apart() {
    let desk = Desk::new(common::HOT_RING);
    desk.render(1, "50");
    let args = ["play", "song.duty", "--display", "display.toml", "--baud", "1000000", "--port"];
    let none = desk.run(&[&args[..], &["/dev/no-such-port"]].concat());
    assert_eq!(none.status.code(), Some(1));
    assert!(text(&none.stderr).contains("there is no such port"), "{}", text(&none.stderr));
    let line = OnLine::new(ring());
    line.board().mute = true;
    let mute = desk.run(&[&args[..], &[line.name().as_str()]].concat());
    assert_eq!(mute.status.code(), Some(1));
    assert!(text(&mute.stderr).contains("no board answers within 3 s"), "{}", text(&mute.stderr));
}

#[test]
fn a_larger_board_is_driven_and_its_other_channels_stay_off() {
    let desk = Desk::new(common::HOT_RING);
    desk.render(1, "50");
    let line = OnLine::new(Plan { channels: 32, ..ring() });
    desk.play_whole(&[&line], &["--start", "cold"]);
    let (sent, file) = (line.duties(), desk.recorded("song.duty"));
    assert_eq!(sent.len(), file.len());
    for ((_, sent), (_, file)) in sent.iter().zip(&file) {
        assert_eq!(sent[..24], file[..]);
        assert_eq!(sent[24..], [0; 8]);
    }
}

#[test]
fn board_shows_both_sides_and_stores_limits_only_when_told() {
    let desk = Desk::new(common::HOT_RING);
    let line = OnLine::new(ring());
    let port = line.name();
    let alone = desk.run(&["board", "--port", &port, "--baud", "1000000"]);
    let told = text(&alone.stdout);
    assert_eq!(alone.status.code(), Some(0), "{}", text(&alone.stderr));
    assert!(
        told.contains("24") && told.contains("4095 steps") && told.contains("one way"),
        "{told}"
    );
    let args = ["board", "--port", port.as_str(), "--baud", "1000000", "--display", "display.toml"];
    let both = desk.run(&args);
    let told = text(&both.stdout);
    assert_eq!(both.status.code(), Some(0), "{}", text(&both.stderr));
    assert!(told.contains("supply") && told.contains("12.00 V"), "{told}");
    let before = line.board().flash().clone();
    let mut asked = desk.command(&[&args[..], &["--store-limits"]].concat());
    let mut asked = asked
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    asked.stdin.take().unwrap().write_all(b"no\n").unwrap();
    assert_eq!(asked.wait_with_output().unwrap().status.code(), Some(130));
    assert_eq!(*line.board().flash(), before, "stored without a yes");
    let yes = desk.run(&[&args[..], &["--store-limits", "--yes"]].concat());
    let told = text(&yes.stdout);
    assert_eq!(yes.status.code(), Some(0), "{}", text(&yes.stderr));
    assert!(told.contains("stored, and in force"), "{told}");
    let stored = line.board().flash().clone();
    assert_eq!((stored.limits.len(), stored.window_s), (24, 60));
    assert!(stored.limits.iter().all(|it| it.mean_most < 2000 && it.mean_most > 200), "{stored:?}");
    let small = OnLine::new(Plan { channels: 12, ..ring() });
    let port = small.name();
    let refused = desk.run(&[
        "board",
        "--port",
        &port,
        "--baud",
        "1000000",
        "--display",
        "display.toml",
        "--store-limits",
        "--yes",
    ]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("12 channels"), "{}", text(&refused.stderr));
    assert!(
        !small.board().seen.iter().any(|seen| matches!(seen, crate::board::Seen::Stored { .. }))
    );
}
