//! Ways to end the program, and what the coils do then.

use std::process::Command;

use crate::bench::{Desk, OnLine, count_duties, hot_ring, ring, text};
use crate::board::Seen;

fn stopped_by(signal: &str) -> (OnLine, Option<i32>, String) {
    stopped_after(signal, |_| ())
}

/// What happens to the board before that.
fn stopped_after(signal: &str, before: impl Fn(&OnLine)) -> (OnLine, Option<i32>, String) {
    let desk = Desk::new(&hot_ring());
    desk.render(60, "50");
    let line = OnLine::new(ring());
    let port = line.name();
    let child = desk.spawn(&[
        "play",
        "song.duty",
        "--display",
        "display.toml",
        "--baud",
        "1000000",
        "--port",
        &port,
        "--start",
        "cold",
    ]);
    line.until("driven", |board| count_duties(board) > 20 && board.codes().iter().any(|c| *c > 0));
    before(&line);
    // The shell's own, which every machine has.
    let kill = format!("kill -{signal} {}", child.id());
    assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    (line, output.status.code(), text(&output.stderr))
}

#[test]
fn interrupt_terminate_and_hangup_end_with_off() {
    for signal in ["INT", "TERM", "HUP"] {
        let (line, code, told) = stopped_by(signal);
        assert_eq!(code, Some(130), "{signal}: {told}");
        assert!(told.contains("all coils are off"), "{signal}: {told}");
        line.assert_told_off();
    }
}

#[test]
fn nobody_says_that_coils_are_off_which_no_board_has_said() {
    let (line, code, told) = stopped_after("INT", |line| line.board().mute = true);
    assert_eq!(code, Some(130), "{told}");
    let said = format!("the board at {} has not said that it is off", line.name());
    assert!(told.contains(&said) && told.contains("cut the coils' supply"), "{told}");
    assert!(!told.contains("all coils are off"), "{told}");
}

#[test]
fn a_song_that_ends_with_a_lost_board_has_failed() {
    let desk = Desk::new(&hot_ring());
    desk.render(3, "50");
    let mut line = OnLine::new(ring());
    let port = line.name();
    let args = ["play", "song.duty", "--display", "display.toml", "--baud", "1000000"];
    let more = ["--start", "cold", "--port", &port];
    let child = desk.spawn(&args.into_iter().chain(more).collect::<Vec<_>>());
    line.until("driven", |board| count_duties(board) > 20);
    line.pull_out();
    let output = child.wait_with_output().unwrap();
    let told = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{told}");
    assert!(told.contains("has not said that it is off"), "{told}");
}

#[test]
fn a_killed_program_leaves_it_to_the_watchdog() {
    let (line, code, _) = stopped_by("KILL");
    assert_eq!(code, None);
    line.until("watchdog", |board| matches!(board.seen.last(), Some(Seen::Trip { .. })));
    let board = line.board();
    let at =
        |is_it: fn(&Seen) -> Option<f64>| board.seen.iter().filter_map(is_it).next_back().unwrap();
    let last_s = at(|seen| match seen {
        Seen::Duty { at_s, .. } => Some(*at_s),
        _ => None,
    });
    let trip_s = at(|seen| match seen {
        Seen::Trip { at_s } => Some(*at_s),
        _ => None,
    });
    assert!(trip_s - last_s > 2.0, "its hold is 2 s");
    assert!(board.codes().iter().all(|code| *code == 0));
}
