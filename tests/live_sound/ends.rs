//! Every way to end a show.

use crate::bench::OnLine;
use crate::board::Plan;
use crate::loopback::Loopback;
use crate::stage::{Live, desk, made_again, there};

#[test]
fn signals_and_the_end_of_the_time_end_with_off_and_whole_files() {
    let (sound, desk) = (Loopback::start(), desk());
    for way in ["INT", "TERM", "HUP", "--seconds"] {
        let plan = Plan { channels: 24, steps: 4095, hold_ms: 250, pwm_hz: 0, ..Plan::default() };
        let line = OnLine::new(plan);
        let port = line.name();
        let mut flags = vec!["--port", &port, "--baud", "1000000", "--heat", "none"];
        flags.extend(["--record", "show.duty", "--save-audio", "heard.wav"]);
        if way == "--seconds" {
            flags.extend(["--seconds", "2.5"]);
        }
        let mut live = Live::start(&desk, &sound, &flags);
        live.until("driven", |second| second["board"]["sent"].as_u64().unwrap_or(0) > 50);
        if way != "--seconds" {
            live.signal(way);
        }
        while live.second().is_some() {}
        let ended = live.end();
        assert_eq!(ended.code, Some(0), "{way}: {}", ended.told);
        assert!(ended.told.contains("all off after"), "{way}: {}", ended.told);
        line.assert_told_off();
        assert!(made_again(&desk, &[]), "{way}");
        for name in ["show.duty", "heard.wav"] {
            assert!(there(desk.path(name)), "{way}: {name}");
            std::fs::remove_file(desk.path(name)).unwrap();
        }
    }
}

#[test]
fn an_input_that_is_not_there_is_refused_with_what_is() {
    let (sound, desk) = (Loopback::start(), desk());
    let mut command = desk.command(&[
        "live",
        "--preset",
        "mapping.toml",
        "--display",
        "display.toml",
        "--input",
        "alsa:lopback",
        "--dry-run",
    ]);
    sound.surround(&mut command);
    let run = command.output().unwrap();
    let told = crate::bench::text(&run.stderr);
    assert_eq!(run.status.code(), Some(2), "{told}");
    assert!(told.contains("no sound input \"alsa:lopback\"; there is \"alsa:loopback\""), "{told}");

    let mut command = desk.command(&["ports"]);
    sound.surround(&mut command);
    let run = command.output().unwrap();
    let listed = crate::bench::text(&run.stdout);
    let input = listed.lines().find(|line| line.trim_start().starts_with(Loopback::INPUT));
    assert!(input.is_some_and(|line| line.contains("(48000 Hz, 2 channels")), "{listed}");
}
