//! Ten minutes as they pass. Not part of every run:
//! `cargo test --test live_sound -- --ignored --exact long::ten_minutes --nocapture`

use std::time::Instant;

use crate::bench::OnLine;
use crate::board::Plan;
use crate::loopback::Loopback;
use crate::stage::{Live, desk, made_again};

#[test]
#[ignore = "takes ten minutes"]
fn ten_minutes() {
    let seconds = 600.0;
    let (sound, desk) = (Loopback::start(), desk());
    let plan = Plan { channels: 24, steps: 4095, hold_ms: 250, pwm_hz: 0, ..Plan::default() };
    let line = OnLine::at(plan, Some(1_000_000));
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
            "--seconds",
            "600",
        ],
    );
    let mut song = sound.play(&desk.path("song.wav"));
    let (mut first, mut early_kb, mut last) = (None, 0, None);
    let (mut engine, mut delays) = (Vec::new(), Vec::new());
    while let Some(second) = live.second() {
        let now = (Instant::now(), second["frame"].as_u64().unwrap(), live.used());
        if second["frame"].as_u64().unwrap() > 12_000 && early_kb == 0 {
            early_kb = now.2.resident_kb;
        }
        engine.push(second["engine"]["p99_us"].as_f64().unwrap());
        delays.push(second["delay_ms"]["total"].as_f64().unwrap());
        first.get_or_insert(now);
        last = Some((now, second));
        if song.try_wait().unwrap().is_some() {
            song = sound.play(&desk.path("song.wav"));
        }
    }
    let ended = live.end();
    let _ = song.kill();
    song.wait().unwrap();
    assert_eq!(ended.code, Some(0), "{}", ended.told);
    let (first, (last, second)) = (first.unwrap(), last.unwrap());
    let wall_s = (last.0 - first.0).as_secs_f64();
    let frames_s = (last.1 - first.1) as f64 / 200.0;
    engine.sort_by(f64::total_cmp);
    delays.sort_by(f64::total_cmp);
    let middle = |list: &[f64]| list[list.len() / 2];
    println!("{}", ended.told);
    println!("{:.3} s of frames in {wall_s:.3} s: {:+.1} ms", frames_s, (frames_s - wall_s) * 1e3);
    println!("resident {early_kb} kB after a minute, {} kB at the end", last.2.resident_kb);
    let share = (last.2.cpu_s - first.2.cpu_s) / wall_s * 100.0;
    println!("{share:.2} % of one core, all threads");
    println!(
        "engine p99 of each second: median {:.0} us, worst {:.0} us",
        middle(&engine),
        engine[engine.len() - 1]
    );
    println!("delay: median {:.1} ms, worst {:.1} ms", middle(&delays), delays[delays.len() - 1]);
    println!("{second}");
    assert!(frames_s > seconds * 0.95, "{frames_s} s");
    // The frames' clock is the sound's: no frame more or less than its instants make.
    let instants = second["seconds"].as_f64().unwrap() * 48_000.0;
    let frames = (instants / 240.0).floor() as u64;
    assert!((frames..=frames + 2).contains(&(last.1 + 1)), "{} for {instants}", last.1);
    assert!(last.2.resident_kb < early_kb + 2048, "memory grew");
    assert!(made_again(&desk, &[]), "not the same file");
}
