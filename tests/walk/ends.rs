//! Every way out of a walk: all off, and the heat is kept.
#![cfg(all(unix, feature = "serial"))]

use std::io::BufRead;
use std::process::Command;

use crate::bench::{Desk, OnLine, text};
use crate::board::{Plan, Seen};
use crate::onlooker::Walk;
use crate::rings::ring;

fn start(more: &[&str]) -> (Desk, OnLine, Walk) {
    let (desk, line) = (Desk::new(&ring(2)), OnLine::new(Plan { channels: 2, ..Plan::default() }));
    let walk = Walk::start(&desk, &line, more);
    line.until("a coil is driven", |board| board.codes().iter().any(|code| *code != 0));
    (desk, line, walk)
}

fn heat(desk: &Desk) -> String {
    std::fs::read_to_string(desk.path("display.heat")).unwrap()
}

#[test]
fn a_key_the_end_of_keys_and_signals_end_it_with_all_off() {
    let (desk, line, mut walk) = start(&[]);
    walk.press("q");
    assert_eq!(walk.end().0, Some(0));
    line.assert_told_off();
    assert!(heat(&desk).contains("\"closed\": true"), "{}", heat(&desk));

    // Keys that end leave a walk undone, whether some came or none.
    let (desk, line, mut walk) = start(&[]);
    walk.press("d");
    let (code, said) = walk.end();
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("walked 1 of 2 coils") && said.contains("dead"), "{said}");
    line.assert_told_off();
    assert!(heat(&desk).contains("\"closed\": true"), "{}", heat(&desk));

    let (_desk, line, walk) = start(&[]);
    assert_eq!(walk.end().0, Some(2), "nobody can press a key");
    line.assert_told_off();

    for signal in ["-INT", "-TERM"] {
        let (desk, line, walk) = start(&["--seconds", "30"]);
        let id = walk.child.id().to_string();
        assert!(Command::new("kill").args([signal, &id]).status().unwrap().success());
        assert_eq!(walk.end().0, Some(130));
        line.assert_told_off();
        assert!(heat(&desk).contains("\"closed\": true"));
    }
}

#[test]
fn a_walk_that_is_killed_leaves_an_open_heat_file_and_a_board_that_trips() {
    let (desk, line, mut walk) = start(&["--seconds", "30"]);
    walk.child.kill().unwrap();
    walk.child.wait().unwrap();
    line.until("the watchdog trips", |board| matches!(board.seen.last(), Some(Seen::Trip { .. })));
    assert!(heat(&desk).contains("\"closed\": false"), "{}", heat(&desk));
    let again = desk.run(&["walk", "--display", "display.toml", "--dry-run", "--seconds", "0.02"]);
    assert_eq!(again.status.code(), Some(0));
    assert!(text(&again.stderr).contains("of a run that was killed"), "{}", text(&again.stderr));
    assert!(heat(&desk).contains("\"closed\": false"), "a dry run does not write heat");
}

#[test]
fn a_dry_run_ends_in_good_order_too() {
    let desk = Desk::new(&ring(2));
    let mut run =
        desk.spawn(&["walk", "--display", "display.toml", "--dry-run", "--seconds", "30"]);
    let out = std::io::BufReader::new(run.stdout.take().unwrap());
    let turn = out.lines().map_while(Result::ok).find(|line| line.starts_with("ring 1 "));
    assert!(turn.is_some());
    let id = run.id().to_string();
    assert!(Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    assert_eq!(run.wait().unwrap().code(), Some(130));
}

#[test]
fn a_board_that_is_lost_ends_it() {
    let (_desk, mut line, walk) = start(&["--seconds", "30"]);
    line.pull_out();
    let (code, said) = walk.end();
    assert_eq!(code, Some(1), "{said}");
}

#[test]
fn heat_can_be_kept_elsewhere_or_forgotten_but_never_grows_old() {
    let (desk, line, mut walk) = start(&["--heat", "elsewhere.json"]);
    walk.press("q");
    assert_eq!(walk.end().0, Some(0));
    assert!(desk.path("elsewhere.json").exists() && !desk.path("display.heat").exists());
    std::fs::copy(desk.path("elsewhere.json"), desk.path("display.heat")).unwrap();
    let mut walk = Walk::start(&desk, &line, &["--heat", "none", "--seconds", "0.05"]);
    walk.until("walked 2 of 2 coils");
    assert_eq!(walk.end().0, Some(0));
    assert!(!desk.path("display.heat").exists(), "an old one would be believed");
}

#[test]
fn what_makes_no_sense_is_refused() {
    let desk = Desk::new(&ring(2));
    for (args, words) in [
        (vec!["--display", "display.toml"], "--dry-run"),
        (vec!["--display", "display.toml", "--dry-run", "--measure"], "asks the board"),
        (vec!["--display", "display.toml", "--dry-run", "--lift", "--measure"], "cannot be used"),
        (vec!["--display", "display.toml", "--dry-run", "--seconds", "0"], "0.02 to 600"),
    ] {
        let run = desk.run(&[&["walk"], args.as_slice()].concat());
        assert_eq!(run.status.code(), Some(2), "{args:?}");
        assert!(text(&run.stderr).contains(words), "{args:?}: {}", text(&run.stderr));
    }
    assert!(!desk.path("display.heat").exists());
}

#[test]
fn heat_is_never_kept_over_something_else() {
    let desk = Desk::new(&ring(2));
    let run = |heat: &str| {
        let run = desk.run(&["walk", "--display", "display.toml", "--dry-run", "--heat", heat]);
        (run.status.code(), text(&run.stderr))
    };
    let before = std::fs::read(desk.path("display.toml")).unwrap();
    std::fs::write(desk.path("notes.txt"), "buy iron\n").unwrap();
    std::fs::create_dir(desk.path("folder")).unwrap();
    for (heat, words) in [
        ("display.toml", "display.toml is no heat file and would be written over"),
        ("notes.txt", "notes.txt is no heat file and would be written over"),
        ("folder", "folder is no plain file"),
    ] {
        let (code, said) = run(heat);
        assert!(code == Some(2) && said.contains(words), "{heat}: {code:?} {said}");
    }
    // What lies where the heat would be forgotten counts as well.
    std::fs::write(desk.path("display.heat"), b"\x02\x10\x01\x01\x01 a recording").unwrap();
    let (code, said) = run("none");
    assert!(code == Some(2) && said.contains("display.heat is no heat file"), "{said}");
    assert_eq!(std::fs::read(desk.path("display.toml")).unwrap(), before);
    assert_eq!(std::fs::read_to_string(desk.path("notes.txt")).unwrap(), "buy iron\n");
}
