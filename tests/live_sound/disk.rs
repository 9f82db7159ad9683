//! A disk that is full.

use coilscore::sink::file::open;

use crate::bench::Desk;
use crate::loopback::Loopback;
use crate::stage::{Live, arguments, desk, there};

/// Plays while no file may grow beyond so many blocks of 512 bytes: what the system then says is as
/// final as a full disk, and needs no disk of one's own. The signal that goes with it is ignored.
fn keep(flag: &str, name: &str, blocks: u32) -> Desk {
    let (sound, desk) = (Loopback::start(), desk());
    let program = env!("CARGO_BIN_EXE_coilscore");
    let flags = arguments(&["--dry-run", flag, name]);
    let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec {program} {}", flags.join(" "));
    let mut command = std::process::Command::new("sh");
    command.args(["-c", &script]).current_dir(desk.dir.path());
    let mut live = Live::by(command, &sound);
    let late = live.until("seven seconds", |second| second["frame"].as_u64().unwrap() > 1400);
    assert_eq!(late["input"]["overrun_instants"], 0, "{late}");
    live.press("q");
    while live.second().is_some() {}
    let ended = live.end();
    assert_eq!(ended.code, Some(1), "what was asked for is not there: {}", ended.told);
    let part = format!("{name}.part");
    let line = ended.told.lines().find(|line| line.contains(&part));
    let line = line.unwrap_or_else(|| panic!("{name}: {}", ended.told));
    assert!(line.contains("ends here") && line.contains("the show goes on"), "{line}");
    assert!(there(desk.path(&part)) && !there(desk.path(name)), "{name} is not whole");
    desk
}

#[test]
fn a_full_disk_ends_the_recording_and_not_the_show() {
    let desk = keep("--record", "show.duty", 32);
    let mut part = open(desk.path("show.duty.part")).unwrap();
    while part.next_entry().unwrap().is_some() {}
    assert!(part.frames() > 100, "{} frames play", part.frames());
}

#[test]
fn a_full_disk_ends_the_saved_sound_and_not_the_show() {
    let desk = keep("--save-audio", "heard.wav", 2048);
    let mut heard = coilscore::audio::file::open(&desk.path("heard.wav.part")).unwrap();
    let samples = coilscore::audio::collect(heard.as_mut()).unwrap();
    assert!(samples.len() > 96_000, "{} samples can be heard", samples.len());
}
