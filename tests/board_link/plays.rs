//! `play`: what arrives at the board is what the file holds, as far as the display allows it now.

use crate::bench::{Desk, OnLine, hot_ring, ring, text};
use crate::board::{Plan, Seen};
use crate::common;

#[test]
fn what_arrives_is_what_the_file_holds_byte_for_byte() {
    let desk = Desk::new(&hot_ring());
    desk.render(4, "50");
    let line = OnLine::new(ring());
    let run = desk.play_whole(&[&line], &["--start", "cold"]);
    let (sent, file) = (line.duties(), desk.recorded("song.duty"));
    assert!(file.iter().any(|(_, codes)| codes[0] > 500), "the song moves something");
    assert_eq!(sent.len(), file.len(), "{}", text(&run.stdout));
    assert_eq!(sent, file);
    line.assert_told_off();
    let told = text(&run.stdout);
    assert!(told.contains("201 frames, 0 skipped") && told.contains("100.0 % granted"), "{told}");
    let offs = |seen: &Seen| matches!(seen, Seen::Off { frame: 201, .. });
    assert!(line.board().seen.iter().any(offs), "off from the frame after the last");
    // The heat it left behind is kept.
    assert!(desk.path("display.heat").exists());
}

#[test]
fn replay_passes_the_budget_of_the_display_that_is_there_now() {
    let desk = Desk::new(&hot_ring());
    desk.render(2, "50");
    let file = desk.recorded("song.duty");
    // Nothing is known of its heat: only what can be held for ever.
    let line = OnLine::new(ring());
    let run = desk.play_whole(&[&line], &["--heat", "none"]);
    let told = text(&run.stderr);
    assert!(told.contains("as hot as may be") && told.contains("before power"), "{told}");
    let sent = line.duties();
    assert_eq!(sent.len(), file.len());
    let sum = |frames: &[(u32, Vec<i32>)]| frames.iter().map(|(_, codes)| codes[0]).sum::<i32>();
    assert!(sum(&sent) * 2 < sum(&file), "{} of {}", sum(&sent), sum(&file));
    assert!(sum(&sent) > 0);
    for ((_, sent), (_, file)) in sent.iter().zip(&file) {
        assert!(sent.iter().zip(file).all(|(sent, file)| sent <= file), "more than the file holds");
    }
    // A display with a weaker coil: the same file, cut.
    let weak = hot_ring().replace("coil_limit_c = 80", "coil_limit_c = 40");
    std::fs::write(desk.path("display.toml"), weak).unwrap();
    let dry = desk.run(&[
        "play",
        "song.duty",
        "--display",
        "display.toml",
        "--start",
        "cold",
        "--dry-run",
    ]);
    assert_eq!(dry.status.code(), Some(0), "{}", text(&dry.stderr));
    assert!(text(&dry.stderr).contains("another version of this one"));
    assert!(!text(&dry.stdout).contains("100.0 % granted"), "{}", text(&dry.stdout));
    let two = common::UNLIMITED;
    std::fs::write(desk.path("display.toml"), two).unwrap();
    let other = desk.run(&["play", "song.duty", "--display", "display.toml", "--dry-run"]);
    assert_eq!(other.status.code(), Some(2));
    assert!(text(&other.stderr).contains("made for 24 coils"), "{}", text(&other.stderr));
}

#[test]
fn a_damaged_file_plays_what_is_there_and_ends_off() {
    let desk = Desk::new(&hot_ring());
    desk.render(4, "50");
    let whole = desk.recorded("song.duty");
    let bytes = std::fs::read(desk.path("song.duty")).unwrap();
    // One byte in the middle, and the end is missing.
    let mut torn = bytes[..bytes.len() / 2].to_vec();
    let middle = torn.len() / 2;
    torn[middle] ^= 0x55;
    std::fs::write(desk.path("song.duty"), &torn).unwrap();
    let left = desk.recorded("song.duty");
    assert!(left.len() < whole.len() - 10 && left.len() > 20, "{} of {}", left.len(), whole.len());
    let line = OnLine::new(ring());
    let run = desk.play_whole(&[&line], &["--start", "cold"]);
    let sent = line.duties();
    // What was lost is off, each frame of it.
    let lost = |frame: u32| left.iter().all(|it| it.0 != frame);
    for (frame, codes) in &sent {
        assert!(!lost(*frame) || codes.iter().all(|code| *code == 0), "{frame}: {codes:?}");
    }
    assert_eq!(sent.len(), left.last().unwrap().0 as usize + 1);
    line.assert_told_off();
    assert!(text(&run.stderr).contains("cut short"), "{}", text(&run.stderr));
}

#[test]
fn two_boards_get_each_their_channels() {
    // Odd coils sit on board 7, in reverse; the first channel of board 2 drives nothing.
    let text_of = |board: u32, channels: &str, group: &str, x: i32| {
        format!(
            "[[coils]]\ngroup = \"{group}\"\ntype = \"small\"\nrail = \"main\"\nboard = {board}\n\
             channels = {channels}\nplace.at = {{ mm = [[{x}, 0], [{x}, 50]] }}\n"
        )
    };
    let ring_text = hot_ring();
    let (head, _) = ring_text.split_once("[[coils]]").unwrap();
    let head = head.replace("limit_c = 80", "limit_c = 85");
    let display = head + &text_of(2, "[1, 2]", "ring", 0) + &text_of(7, "[1, 0]", "ring", 60);
    let desk = Desk::new(&display);
    desk.render(1, "50");
    let (first, second) =
        (OnLine::new(Plan { channels: 3, ..ring() }), OnLine::new(Plan { channels: 2, ..ring() }));
    let port = first.name();
    let one = desk.run(&[
        "play",
        "song.duty",
        "--display",
        "display.toml",
        "--baud",
        "1000000",
        "--port",
        &port,
    ]);
    assert_eq!(one.status.code(), Some(2));
    let told = text(&one.stderr);
    assert!(told.contains("2 boards and 1 port was given") && told.contains("(2, 7)"), "{told}");
    // A link to a port is that port.
    let link = desk.path("link").display().to_string();
    std::os::unix::fs::symlink(&first.port, &link).unwrap();
    let twice = ["play", "song.duty", "--display", "display.toml", "--baud", "1000000"];
    let twice = desk.run(&[&twice[..], &["--port", &port, "--port", &link]].concat());
    assert_eq!(twice.status.code(), Some(2));
    assert!(text(&twice.stderr).contains("is given twice"), "{}", text(&twice.stderr));
    desk.play_whole(&[&first, &second], &["--start", "cold"]);
    let file = desk.recorded("song.duty");
    let expected = |pick: fn(&[i32]) -> Vec<i32>| {
        file.iter().map(|(frame, codes)| (*frame, pick(codes))).collect::<Vec<_>>()
    };
    assert_eq!(first.duties(), expected(|codes| vec![0, codes[0], codes[1]]));
    assert_eq!(second.duties(), expected(|codes| vec![codes[3], codes[2]]));
    first.assert_told_off();
    second.assert_told_off();
}
