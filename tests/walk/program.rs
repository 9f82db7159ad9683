//! The program walks a pseudo-terminal board, watched by someone who presses keys.
#![cfg(all(unix, feature = "serial"))]

use crate::bench::{Desk, OnLine, text};
use crate::board::{Plan, Seen};
use crate::onlooker::{Walk, driven};
use crate::rings::ring;

fn board(channels: u16) -> OnLine {
    OnLine::new(Plan { channels, ..Plan::default() })
}

/// Two leads are exchanged, one coil is broken, one is shorted: everything is found.
#[test]
fn a_walk_round_24_coils_finds_what_is_wrong() {
    let (desk, line) = (Desk::new(&ring(24)), board(24));
    let mut wired: Vec<usize> = (0..24).collect();
    wired.swap(3, 8);
    let mut walk = Walk::start(&desk, &line, &[]);
    for coil in 0..24 {
        let said = walk.until(&format!("ring {}", coil + 1));
        assert!(said.contains(&format!("board 0, channel {coil}, at [")), "{said}");
        line.until("its channel is driven", |board| board.codes()[coil] != 0);
        let Some((channel, code)) = driven(&line) else { panic!("nothing is driven") };
        assert_eq!((channel, code), (coil, 4095 * 4 / 10), "duty 0.40, rounded toward off");
        match wired[channel] {
            5 => walk.press("d"),
            11 => {
                walk.press("s");
                line.until("the short is off", |board| board.codes().iter().all(|c| *c == 0));
            }
            moved if moved != coil => walk.press(&format!("{}w", moved + 1)),
            _ => {}
        }
        walk.press("n");
    }
    let (code, said) = walk.end();
    assert_eq!(code, Some(0), "{said}");
    for words in [
        "walked 24 of 24 coils",
        "ring 4       swapped  board 0, channel 3: this channel moves ring 9",
        "ring 9       swapped  board 0, channel 8: this channel moves ring 4",
        "ring 4 and ring 9 are exchanged: plug them over, or write channel 8 for ring 4 and 3 for ring 9",
        "ring 6       dead     board 0, channel 5",
        "ring 12      shorted  board 0, channel 11",
    ] {
        assert!(said.contains(words), "'{words}' is not in\n{said}");
    }
    line.assert_told_off();
}

#[test]
fn lift_and_drop_are_seen_and_written() {
    let (desk, line) = (Desk::new(&ring(5)), board(5));
    // The third stands too far away.
    let lifts = [0.3, 0.31, 0.45, 0.29, 0.3];
    let mut walk = Walk::start(&desk, &line, &["--lift", "--ramp", "3"]);
    for (coil, lift) in lifts.into_iter().enumerate() {
        let said = walk.until(&format!("ring {}", coil + 1));
        assert!(said.contains(&format!("channel {coil}")), "{said}");
        let code = move |board: &crate::board::SimBoard| f64::from(board.codes()[coil]) / 4095.0;
        line.until("the fluid lifts", |board| code(board) >= lift);
        walk.press(" ");
        walk.until("lifted at 0.");
        line.until("it drops", |board| code(board) <= lift / 4.0);
        walk.press(" ");
        walk.until("dropped at 0.");
    }
    let (code, said) = walk.end();
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("ring 3: lift +"), "{said}");
    assert!(!said.contains("ring 2: lift"), "{said}");
    assert!(said.contains("written into display.toml"), "{said}");
    line.assert_told_off();
    let written = std::fs::read_to_string(desk.path("display.toml")).unwrap();
    assert!(written.starts_with("# my ring, keep this\n") && written.ends_with("# the end\n"));
    let display = coilscore::preset::display::read("written", &written).unwrap();
    let seen = display.blocks[0].lifts.clone().unwrap();
    for (coil, lift) in lifts.into_iter().enumerate() {
        // The hand here is a fast one, and the line a short one; a busy machine makes it slower.
        let off = seen.lift_duty[coil] - lift;
        assert!((-0.001..0.1).contains(&off), "coil {coil}: {:?}", seen.lift_duty);
        assert!(seen.drop_duty[coil] < lift / 4.0 + 0.001 && seen.drop_duty[coil] >= 0.0);
    }
    // The heat of a display that was rewritten is still its heat.
    let check = desk.run(&["check", "--display", "display.toml"]);
    assert!(
        text(&check.stdout).contains("off by more than 20 %: ring 3"),
        "{}",
        text(&check.stdout)
    );
    let mut again = Walk::start(&desk, &line, &["--seconds", "0.05"]);
    again.until("walked 5 of 5 coils");
    assert_eq!(again.end().0, Some(0));
}

#[test]
fn windings_are_measured_through_the_board() {
    let (desk, line) = (Desk::new(&ring(4)), board(4));
    line.board().ohms = vec![15.0, f64::INFINITY, 0.4, 22.5];
    let walk = Walk::start(&desk, &line, &["--measure"]);
    let (code, said) = walk.end();
    assert_eq!(code, Some(0), "{said}");
    for words in
        ["measured 4 of 4 coils", "open      ring 2", "shorted   ring 3", "drifting  ring 4"]
    {
        assert!(said.contains(words), "'{words}' is not in\n{said}");
    }
    let board = line.board();
    let most = |coil: usize| {
        let codes = board.seen.iter().filter_map(|seen| match seen {
            Seen::Duty { codes, .. } => Some(codes[coil]),
            _ => None,
        });
        codes.max().unwrap()
    };
    assert_eq!((most(0), most(2)), (4095, 4095 * 15 / 100), "a short is not driven in full");
    drop(board);
    line.assert_told_off();
}

#[test]
fn a_board_that_does_not_know_its_supply_cannot_measure() {
    let (desk, line) = (Desk::new(&ring(2)), board(2));
    line.board().knows_supply = false;
    let (code, said) = Walk::start(&desk, &line, &["--measure"]).end();
    assert_eq!(code, Some(2), "{said}");
    line.assert_told_off();
}
