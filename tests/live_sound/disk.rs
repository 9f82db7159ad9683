//! A disk that is full.

use coilscore::sink::file::open;

use crate::loopback::Loopback;
use crate::stage::{Live, arguments, desk, there};

#[test]
fn a_full_disk_ends_what_is_kept_and_not_the_show() {
    let (sound, desk) = (Loopback::start(), desk());
    // No file may grow beyond 32 blocks of 512 bytes: what the system then says is as final as a
    // full disk, and needs no disk of one's own. The signal that goes with it is ignored.
    let program = env!("CARGO_BIN_EXE_coilscore");
    let flags = arguments(&["--dry-run", "--record", "show.duty", "--save-audio", "heard.wav"]);
    let script = format!("trap '' XFSZ; ulimit -f 32; exec {program} {}", flags.join(" "));
    let mut command = std::process::Command::new("sh");
    command.args(["-c", &script]).current_dir(desk.dir.path());
    let mut live = Live::by(command, &sound);
    let late = live.until("ten seconds", |second| second["frame"].as_u64().unwrap() > 1400);
    assert_eq!(late["input"]["overrun_instants"], 0, "{late}");
    live.press("q");
    while live.second().is_some() {}
    let ended = live.end();
    assert_eq!(ended.code, Some(1), "what was asked for is not there: {}", ended.told);
    for name in ["show.duty.part", "heard.wav.part"] {
        let line = ended.told.lines().find(|line| line.contains(name));
        let line = line.unwrap_or_else(|| panic!("{name}: {}", ended.told));
        assert!(line.contains("ends here") && line.contains("the show goes on"), "{line}");
        assert!(there(desk.path(name)), "{name}");
    }
    for name in ["show.duty", "heard.wav"] {
        assert!(!there(desk.path(name)), "{name} is not whole");
    }
    let mut part = open(desk.path("show.duty.part")).unwrap();
    while part.next_entry().unwrap().is_some() {}
    assert!(part.frames() > 100, "{} frames play", part.frames());
    let heard = coilscore::audio::file::open(&desk.path("heard.wav.part"));
    assert!(heard.is_ok(), "{:?}", heard.err());
}
