//! The real program, on a pseudo-terminal, at the line of the emulated board.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use super::emulated::{CHANNELS, HOLD_MS, STEPS, rendered};
use super::emulator::{Applied, Emulator, Line};
use super::payload::{Hello, TWELVE, duty};

/// A frame number that no file here reaches.
const MARK: u32 = 1_000_000;

fn coilscore(dir: &Path, board: &Emulator, words: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_coilscore"))
        .current_dir(dir)
        .args(words)
        .args(["--display", "display.toml", "--baud", "1000000", "--port"])
        .arg(&board.terminal)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Applied codes must be those of the file. On a busy machine the program may skip frames.
fn as_in_the_file(applied: &Applied, file: &[(u32, Vec<i32>)]) {
    let (frame, codes) = &file[applied.frame as usize];
    assert_eq!((applied.frame, &applied.codes), (*frame, codes));
}

#[test]
fn what_it_plays_is_what_the_coils_get() {
    let dir = tempfile::tempdir().unwrap();
    let file = rendered(dir.path(), 4, 50);
    let board = Emulator::start(Line::Program);
    let play = coilscore(dir.path(), &board, &["play", "song.duty", "--start", "cold"]);
    let ended = play.wait_with_output().unwrap();
    let told = String::from_utf8_lossy(&ended.stdout);
    let errors = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(0), "{told}{errors}");
    // A greeting and a frame of the test's own, and it is known where the program's end.
    let mut line = File::options().write(true).open(&board.terminal).unwrap();
    let mark = [Hello::new(CHANNELS, STEPS, TWELVE).packet(), duty(MARK, TWELVE, &[1; CHANNELS])];
    line.write_all(&mark.concat()).unwrap();
    let all: Vec<Applied> =
        std::iter::repeat_with(|| board.next_applied()).take_while(|it| it.frame != MARK).collect();
    let frames: Vec<&Applied> = all.iter().filter(|applied| applied.on).collect();
    frames.iter().for_each(|applied| as_in_the_file(applied, &file));
    assert!(frames.windows(2).all(|pair| pair[0].frame < pair[1].frame), "in order");
    let count = frames.len();
    assert!(count * 4 >= file.len() * 3, "{count} of {} frames: {told}{errors}", file.len());
    // Off at the end. Where the machine was quick enough for all frames, the board's own watchdog
    // had no part in it.
    let (last, off) = (frames.last().unwrap(), all.last().unwrap());
    assert_eq!((off.on, &off.codes), (false, &vec![0; CHANNELS]));
    let silent_ms = off.ms - last.ms;
    assert!(count < file.len() || silent_ms < HOLD_MS, "off after {silent_ms} ms");
}

#[test]
fn killed_it_leaves_a_board_that_goes_off_by_itself() {
    let dir = tempfile::tempdir().unwrap();
    let file = rendered(dir.path(), 60, 50);
    let board = Emulator::start(Line::Program);
    let mut play = coilscore(dir.path(), &board, &["play", "song.duty", "--start", "cold"]);
    let mut last = board.next_applied();
    while last.frame < 50 {
        as_in_the_file(&last, &file);
        last = board.next_applied();
    }
    assert!(play.try_wait().unwrap().is_none(), "it must still be playing");
    play.kill().unwrap(); // the signal that no program can catch
    play.wait().unwrap();
    let off = loop {
        let applied = board.next_applied();
        if !applied.on {
            break applied;
        }
        as_in_the_file(&applied, &file);
        last = applied;
    };
    let silent_ms = off.ms - last.ms;
    assert!((HOLD_MS..=HOLD_MS + 2).contains(&silent_ms), "off after {silent_ms} ms");
    assert_eq!(off.codes, [0; CHANNELS]);
}

#[test]
fn it_shows_the_board_and_says_that_flash_did_not_take_the_limits() {
    let dir = tempfile::tempdir().unwrap();
    rendered(dir.path(), 1, 50);
    let board = Emulator::start(Line::Program);
    let ask = coilscore(dir.path(), &board, &["board", "--store-limits", "--yes"]);
    let ended = ask.wait_with_output().unwrap();
    let told = String::from_utf8_lossy(&ended.stdout);
    let said = String::from_utf8_lossy(&ended.stderr);
    // The emulator's flash cannot be written.
    assert_eq!(ended.status.code(), Some(1), "{told}{said}");
    assert!(said.contains("only until the board is reset"), "{said}");
    assert!(!told.contains("stored, and in force"), "{told}");
    for word in ["24", "3500", "24000", "250"] {
        assert!(told.contains(word), "no {word} in {told}");
    }
}
