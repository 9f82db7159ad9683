//! The beat, foretold, on strokes of known tempo.

use super::sounds::{FRAMES_PER_S, hear, knowing, noise, stereo, strikes, stroke};
use coilscore::analysis::{EarRequest, Knowing, Sense};
use coilscore::units::Seconds;

/// Low and high strokes in turn on every beat, soft ones between.
fn pattern(t: f64, beat_s: f64) -> f64 {
    let since = t.rem_euclid(beat_s);
    let number = (t / beat_s).floor() as u32;
    let hiss = noise((t * 48_000.0).round() as u32);
    let body = if number.is_multiple_of(2) {
        0.7 * stroke(since, 60.0, 0.07)
    } else {
        0.3 * stroke(since, 190.0, 0.05) + 0.3 * hiss * (-since / 0.05).exp()
    };
    let off = t.rem_euclid(0.5 * beat_s);
    body + 0.06 * hiss * (-off / 0.012).exp()
}

/// Median distance of announced beats from true ones, s, and how many were announced.
fn error(frames: &[Vec<Sense>], beat_s: f64, lead_s: f64) -> (f64, usize) {
    let late = strikes(frames).into_iter().filter(|(time, _)| *time > 10.0).map(|(time, _)| {
        let place = (time + lead_s) / beat_s;
        ((place - place.round()) * beat_s).abs()
    });
    let mut errors: Vec<f64> = late.collect();
    errors.sort_by(f64::total_cmp);
    (errors.get(errors.len() / 2).copied().unwrap_or(9.0), errors.len())
}

#[test]
fn beats_are_announced_ahead() {
    for beats_per_minute in [112.0, 120.0, 132.0] {
        let beat_s = 60.0 / beats_per_minute;
        let sound = stereo(24.0, |t| pattern(t, beat_s));
        for lead_s in [0.0, 0.1, 0.2] {
            let ear = EarRequest::Beat { lead_s: Seconds(lead_s), sure: 0.2 };
            let (median_s, count) = error(&hear(&sound, &[ear], Knowing::Nothing), beat_s, lead_s);
            assert!(median_s < 0.025, "{beats_per_minute}: {median_s} s, {lead_s} s ahead");
            let wanted = 14.0 / beat_s;
            assert!((count as f64 / wanted - 1.0).abs() < 0.1, "{count} of {wanted} beats");
        }
    }
}

#[test]
fn of_a_known_song_beats_come_exactly_ahead() {
    let beat_s = 0.5;
    let sound = stereo(24.0, |t| pattern(t, beat_s));
    let song = knowing(&sound);
    for lead_s in [0.0, 0.2] {
        let ear = EarRequest::Beat { lead_s: Seconds(lead_s), sure: 0.0 };
        let (median_s, count) = error(&hear(&sound, &[ear], song.clone()), beat_s, lead_s);
        assert!(median_s < 0.025 && (26..=29).contains(&count), "{median_s} s, {count} beats");
    }
}

/// Full at the beat, half way down in the middle between two.
#[test]
fn the_phase_falls_from_beat_to_beat() {
    let beat_s = 0.5;
    let sound = stereo(20.0, |t| pattern(t, beat_s));
    for song in [Knowing::Nothing, knowing(&sound)] {
        let ear = EarRequest::Phase { lead_s: Seconds(0.0), sure: 0.0 };
        let frames = hear(&sound, &[ear], song);
        let phase = |t: f64| match frames[(t * FRAMES_PER_S).round() as usize][0] {
            Sense::Phase(phase) => f64::from(phase),
            _ => -1.0,
        };
        let mean = |within: f64| {
            let at = (24..36).map(|beat| phase(beat_s * (f64::from(beat) + within)));
            at.sum::<f64>() / 12.0
        };
        for (within, by_hand) in [(0.25, 0.75), (0.5, 0.5), (0.75, 0.25)] {
            let got = mean(within);
            assert!((got - by_hand).abs() < 0.07, "{got} at {within} of a beat");
        }
    }
}

#[test]
fn no_beat_is_announced_where_there_is_none() {
    let hiss = stereo(12.0, |t| 0.05 * noise((t * 48_000.0).round() as u32));
    let ear = EarRequest::Beat { lead_s: Seconds(0.1), sure: 0.4 };
    assert!(strikes(&hear(&hiss, &[ear], Knowing::Nothing)).is_empty());
}
