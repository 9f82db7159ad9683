//! Ways to end the program, and what the coils do then.

use std::process::Command;

use crate::bench::{Desk, OnLine, count_duties, hot_ring, ring, text};
use crate::board::Seen;

fn stopped_by(signal: &str) -> (OnLine, Option<i32>, String) {
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
