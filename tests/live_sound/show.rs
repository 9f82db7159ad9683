//! The whole way, with hands; and a sound server that dies.

use crate::bench::{OnLine, count_duties};
use crate::board::Plan;
use crate::loopback::Loopback;
use crate::stage::{Live, desk, made_again};

fn ring() -> Plan {
    Plan { channels: 24, steps: 4095, hold_ms: 250, pwm_hz: 0, ..Plan::default() }
}

#[test]
fn what_the_board_receives_is_what_a_render_of_the_heard_sound_writes() {
    let (sound, desk) = (Loopback::start(), desk());
    let line = OnLine::at(ring(), Some(1_000_000));
    let port = line.name();
    let mut live = Live::start(
        &desk,
        &sound,
        &[
            "--next",
            "other.toml",
            "--port",
            &port,
            "--baud",
            "1000000",
            "--record",
            "show.duty",
            "--save-audio",
            "heard.wav",
            "--heat",
            "none",
        ],
    );
    let first = live.until("board", |second| second["board"]["state"] == "ready");
    assert_eq!(first["input"]["losses"], 0, "{first}");
    let mut song = sound.play(&desk.path("song.wav"));
    live.until("music", |second| second["granted_coils"].as_f64().unwrap() > 0.01);
    // One thing after the other, each shown before the next.
    live.press("--");
    live.until("level", |second| second["hands"]["level_percent"] == 90);
    live.press("m");
    live.until("mapping", |second| second["hands"]["mapping"] == 1);
    live.press("h");
    live.until("hold", |second| second["hands"]["hold"] == true);
    live.press("h");
    live.until("let go", |second| second["hands"]["hold"] == false);
    live.press("o");
    let off = live.until("off", |second| {
        second["hands"]["all_off"] == true && second["granted_coils"] == 0.0
    });
    assert_eq!(off["asked_coils"], 0.0, "{off}");
    assert!(line.board().codes().iter().all(|code| *code == 0), "all off");
    live.press("r");
    live.until("again", |second| second["granted_coils"].as_f64().unwrap() > 0.01);
    live.press("q");
    while live.second().is_some() {}
    let ended = live.end();
    assert_eq!(ended.code, Some(0), "{}", ended.told);
    line.assert_told_off();
    let _ = song.kill();
    song.wait().unwrap();

    assert!(made_again(&desk, &["--next", "other.toml"]), "not the same file");
    let (received, rendered) = (line.duties(), desk.recorded("again.duty"));
    assert!(received.len() > 500, "{} frames are too few to show anything", received.len());
    for (frame, codes) in &received {
        assert_eq!(codes, &rendered[*frame as usize].1, "frame {frame}");
    }
    let told = ended.told.lines().find(|line| line.starts_with("sent ")).unwrap().to_owned();
    let missing = rendered.len() - received.len();
    assert_eq!(told, format!("sent {} frames, skipped {missing}", received.len()));
    println!("{told} of {}", rendered.len());
    assert!(received.iter().any(|(_, codes)| codes.iter().any(|code| *code > 0)));
}

#[test]
fn a_sound_server_that_dies_is_waited_for() {
    let (mut sound, desk) = (Loopback::start(), desk());
    let line = OnLine::new(ring());
    let port = line.name();
    let mut live = Live::start(
        &desk,
        &sound,
        &[
            "--port",
            &port,
            "--baud",
            "1000000",
            "--record",
            "show.duty",
            "--save-audio",
            "heard.wav",
            "--heat",
            "none",
        ],
    );
    let mut song = sound.play(&desk.path("song.wav"));
    let before = live.until("music", |second| second["granted_coils"].as_f64().unwrap() > 0.01);
    sound.kill();
    song.wait().unwrap();
    let gone = live.until("gone", |second| second["input"]["alive"] == false);
    println!("errors while it died: {}", gone["input"]["errors"]);
    // Frames go on, at the pace of the clock, and the coils come to rest.
    let rest = live.until("rest", |second| second["granted_coils"] == 0.0);
    assert!(rest["frame"].as_u64().unwrap() > before["frame"].as_u64().unwrap() + 200, "{rest}");
    assert_eq!(rest["engine"]["max_us"].as_f64().map(|us| us > 0.0), Some(true));
    let taken = count_duties(&line.board());
    sound.revive();
    let back = live.until("back", |second| second["input"]["alive"] == true);
    assert!(back["input"]["losses"].as_u64().unwrap() >= 1, "{back}");
    assert!(count_duties(&line.board()) > taken, "the board was fed throughout");
    let mut song = sound.play(&desk.path("song.wav"));
    live.until("music again", |second| second["granted_coils"].as_f64().unwrap() > 0.01);
    live.press("q");
    while live.second().is_some() {}
    let ended = live.end();
    let _ = song.kill();
    song.wait().unwrap();
    assert_eq!(ended.code, Some(0), "{}", ended.told);
    assert!(ended.told.contains("silence until it is back"), "{}", ended.told);
    assert!(ended.told.contains("loopback is back"), "{}", ended.told);
    println!("watchdog trips: {}", line.board().status().trips);
    assert!(made_again(&desk, &[]), "silence for lost sound is in the saved sound too");
}
