//! From a mapping file to duties: events, the beat, brightness, loudness and soft passages.

#[path = "../common/mod.rs"]
mod common;

use super::sounds::{FRAMES_PER_S, RATE_HZ, knowing, sine, stereo, stroke};
use coilscore::analysis::{EarRequest, Knowing};
use common::{UNLIMITED, codes, prepared};

fn text(root: &str, hears: &str, shape: &str) -> String {
    format!(
        "schema = 1\nname = \"m\"\nintent = \"Invented.\"\nquiet.fixed = {{ level_dbfs = -80 }}\n\
         {root}\n[[route]]\nname = \"r\"\n{hears}\n{shape}\nmoves.level_all = {{ group = \"all\" }}\n"
    )
}

/// Duty of the one coil, frame by frame, 0 to 1.
fn duties(mapping: &str, sound: &[f32], song: Knowing) -> Vec<f64> {
    let mut settings = prepared(mapping, UNLIMITED, RATE_HZ, 2, "200");
    settings.analysis.knowing = song;
    let frames = codes(&settings, sound, &[4800]);
    frames.iter().map(|frame| f64::from(frame[0]) / 65_535.0).collect()
}

fn at(duties: &[f64], seconds: f64) -> f64 {
    duties[(seconds * FRAMES_PER_S).round() as usize]
}

/// Strokes every second from 1 s on, in turn strong and 12 dB weaker.
fn strokes() -> Vec<f32> {
    stereo(8.0, |t| {
        if t < 1.0 {
            return 0.0;
        }
        let number = t.floor() as u32;
        let peak = if number % 2 == 1 { 0.8 } else { 0.2 };
        peak * (stroke(t.fract(), 70.0, 0.06) + 0.3 * stroke(t.fract(), 1200.0, 0.004))
    })
}

/// Rise at once, hold 100 ms, then fall with 50 ms: the height 50 ms after the fall began is 1/e.
#[test]
fn an_event_throws_the_envelope_up_holds_and_lets_it_fall() {
    let shape = "attack_ms = 0\nhold_ms = 100\nrelease_ms = 50";
    let hears = "hears.onset = { size = \"even\" }";
    for song in [Knowing::Nothing, knowing(&strokes())] {
        let all = duties(&text("", hears, shape), &strokes(), song);
        for second in 3..7 {
            let from = (f64::from(second) * FRAMES_PER_S) as usize;
            let rises = (from..).find(|&frame| all[frame] > 0.9).unwrap();
            assert!(rises - from <= 4, "{} frames late", rises - from);
            assert!(all[rises..=rises + 20].iter().all(|duty| *duty > 0.999), "it holds");
            assert!((all[rises + 30] - (-1.0_f64).exp()).abs() < 0.02, "it falls");
            assert!(at(&all, f64::from(second) + 0.9) < 0.01);
        }
    }
}

/// However slow the rise, the height is reached: 95 % and more of it.
#[test]
fn a_slow_rise_still_reaches_its_height() {
    let shape = "attack_ms = 60\nhold_ms = 0\nrelease_ms = 50";
    let all =
        duties(&text("", "hears.onset = { size = \"even\" }", shape), &strokes(), Knowing::Nothing);
    let peak = all[(3.0 * FRAMES_PER_S) as usize..(3.9 * FRAMES_PER_S) as usize]
        .iter()
        .copied()
        .fold(0.0, f64::max);
    assert!(peak > 0.94 && peak < 1.0, "{peak}");
}

#[test]
fn a_weaker_stroke_moves_less_unless_all_count_alike() {
    let shape = "range.fixed = { floor_dbfs = -50, full_dbfs = 0 }\nattack_ms = 0\nhold_ms = 100";
    for (hears, alike) in [
        ("hears.onset = {}", false),
        ("hears.onset_in_band = { low_hz = 40, high_hz = 120 }", false),
        ("hears.onset_in_band = { low_hz = 40, high_hz = 120, size = \"even\" }", true),
    ] {
        let all = duties(&text("", hears, shape), &strokes(), Knowing::Nothing);
        let (strong, weak) = (at(&all, 5.08), at(&all, 4.08));
        // 12 dB of a range of 50 dB is 0.24.
        let less = if alike { 0.0 } else { 0.24 };
        assert!((strong - weak - less).abs() < 0.05, "{hears}: {strong} and {weak}");
    }
}

#[test]
fn brightness_lies_between_its_ends_on_octaves() {
    let shape = "attack_ms = 0\nhold_ms = 0\nrelease_ms = 0";
    for (hz, share) in [(500.0, 0.25), (1000.0, 0.5), (2000.0, 0.75), (250.0, 0.0), (8000.0, 1.0)] {
        let hears = "hears.brightness = { low_hz = 250, high_hz = 4000 }";
        let sound = stereo(1.0, sine(hz, -20.0));
        let all = duties(&text("", hears, shape), &sound, Knowing::Nothing);
        assert!((at(&all, 0.9) - share).abs() < 0.04, "{hz} Hz: {}", at(&all, 0.9));
    }
}

/// A tone 12 LU softer than the song: at keep 0.5 it moves half as far as the loud one.
#[test]
fn soft_passages_stay_soft_by_the_stated_law() {
    let tone = sine(1000.0, 0.0);
    let sound = stereo(30.0, |t| if t < 20.0 { 0.1 * tone(t) } else { 0.025 * tone(t) });
    let hears = "hears.band = { low_hz = 900, high_hz = 1100 }";
    let shape = "range.fixed = { floor_dbfs = -110, full_dbfs = -100 }\nhold_ms = 0";
    let plain = duties(&text("", hears, shape), &sound, Knowing::Nothing);
    assert!(at(&plain, 15.0) > 0.99 && at(&plain, 29.0) > 0.99);
    let kept = text("passages = { keep = 0.5 }", hears, shape);
    let known = duties(&kept, &sound, knowing(&sound));
    // The soft part lies below the relative gate: the song is as loud as its loud part, 12.04 LU more.
    let (loud, soft) = (at(&known, 15.0), at(&known, 29.0));
    assert!(loud > 0.99, "{loud}");
    assert!((soft - 0.5).abs() < 0.01, "{soft}");
    let live = duties(&kept, &sound, Knowing::Nothing);
    assert!(at(&live, 15.0) > 0.99 && at(&live, 26.0) < 0.62, "{}", at(&live, 26.0));
}

#[test]
fn what_several_routes_hear_is_measured_once() {
    let route = |name: &str, hears: &str| {
        format!("[[route]]\nname = \"{name}\"\n{hears}\nmoves.level_all = {{ group = \"all\" }}\n")
    };
    let mapping = format!(
        "schema = 1\nname = \"m\"\nintent = \"Invented.\"\npassages = {{}}\n{}{}{}{}",
        route("a", "hears.onset = { of = \"kick\" }"),
        route("b", "hears.onset = { of = \"kick\", size = \"even\" }"),
        route("c", "hears.loudness = { over = \"short_term\" }"),
        route("d", "hears.band = { low_hz = 40, high_hz = 120 }"),
    );
    let settings = prepared(&mapping, UNLIMITED, RATE_HZ, 2, "200");
    assert_eq!(settings.analysis.ears.len(), 2, "{:?}", settings.analysis.ears);
    assert!(settings.analysis.ears.contains(&EarRequest::Loudness { slow: true }));
    assert_eq!(settings.analysis.bands.len(), 1);
}
