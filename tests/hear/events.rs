//! Events of the whole sound and within bands, in sounds whose events are known.

use super::sounds::{
    RATE_HZ, hear, in_chunks, knowing, noise, settings, sine, stereo, strikes, stroke,
};
use crate::counting::allocations_during;
use coilscore::analysis::onset::Kind;
use coilscore::analysis::{Analysis, EarRequest, Knowing, Sense};
use coilscore::audio::SampleBlock;
use coilscore::units::{Hertz, Seconds};

/// Strokes of a low drum every half second from 0.5 s on.
fn drum(t: f64) -> f64 {
    let since = (t - 0.5).rem_euclid(0.5);
    if t < 0.5 { 0.0 } else { 0.7 * stroke(since, 70.0, 0.08) + 0.2 * stroke(since, 900.0, 0.005) }
}

/// Ticks of a high one, between the strokes of the low one.
fn tick(t: f64) -> f64 {
    let since = (t - 0.75).rem_euclid(0.5);
    if t < 0.75 { 0.0 } else { 0.2 * stroke(since, 9000.0, 0.015) }
}

fn band(low: f64, high: f64) -> EarRequest {
    EarRequest::EventInBand { low_hz: Hertz(low), high_hz: Hertz(high) }
}

fn near(times: &[(f64, f32)], wanted: impl Iterator<Item = f64>, late_s: f64) {
    let wanted: Vec<f64> = wanted.collect();
    assert_eq!(times.len(), wanted.len(), "{times:?}");
    for ((time, _), wanted) in times.iter().zip(wanted) {
        let late = time - wanted;
        assert!((-0.0051..=late_s).contains(&late), "{late} s late at {wanted} s");
    }
}

#[test]
fn every_stroke_is_told_once_and_soon() {
    let sound = stereo(6.0, drum);
    let frames = hear(&sound, &[EarRequest::Event(Kind::Onset)], Knowing::Nothing);
    let all: Vec<_> = strikes(&frames).into_iter().filter(|strike| strike.0 > 1.2).collect();
    near(&all, (3..12).map(|n| 0.5 * f64::from(n)), 0.025);
}

/// Of a song that was heard before, an event comes in the frame in which it happens.
#[test]
fn of_a_known_song_events_come_when_they_happen() {
    let sound = stereo(6.0, drum);
    let frames = hear(&sound, &[EarRequest::Event(Kind::Onset)], knowing(&sound));
    let all: Vec<_> = strikes(&frames).into_iter().filter(|strike| strike.0 > 1.2).collect();
    near(&all, (3..12).map(|n| 0.5 * f64::from(n)), 0.0101);
}

#[test]
fn a_band_hears_what_begins_in_it_and_nothing_else() {
    let sound = stereo(8.0, |t| drum(t) + tick(t));
    let later = |strikes: Vec<(f64, f32)>| {
        strikes.into_iter().filter(|strike| strike.0 > 1.2).collect::<Vec<_>>()
    };
    let low = later(strikes(&hear(&sound, &[band(40.0, 120.0)], Knowing::Nothing)));
    near(&low, (3..16).map(|n| 0.5 * f64::from(n)), 0.021);
    let high = later(strikes(&hear(&sound, &[band(7000.0, 12_000.0)], Knowing::Nothing)));
    near(&high, (3..=16).map(|n| 0.5 * f64::from(n) - 0.25), 0.016);
}

/// A voice that wavers by half a semitone six times a second, noise, and a held tone, once what is
/// always there is known (1.5 s).
#[test]
fn what_only_wavers_is_no_onset() {
    let waver = |t: f64| {
        let phase = 440.0 * t
            + 440.0 * 0.03 / 6.0 / std::f64::consts::TAU
                * (1.0 - (std::f64::consts::TAU * 6.0 * t).cos());
        0.2 * (std::f64::consts::TAU * phase).sin()
    };
    let hiss = |t: f64| 0.05 * noise((t * f64::from(RATE_HZ)).round() as u32);
    let held = sine(440.0, -14.0);
    for (name, sound) in
        [("waver", stereo(8.0, waver)), ("noise", stereo(8.0, hiss)), ("held", stereo(8.0, held))]
    {
        for ear in [band(200.0, 2000.0), band(40.0, 12_000.0)] {
            let heard = strikes(&hear(&sound, &[ear], Knowing::Nothing));
            let heard: Vec<_> = heard.iter().filter(|strike| strike.0 > 2.0).collect();
            assert!(heard.is_empty(), "{name}: {heard:?}");
        }
    }
}

fn all_ears() -> Vec<EarRequest> {
    let lead_s = Seconds(0.1);
    vec![
        EarRequest::Event(Kind::Onset),
        EarRequest::Event(Kind::Kick),
        band(60.0, 300.0),
        EarRequest::Beat { lead_s, sure: 0.2 },
        EarRequest::Phase { lead_s, sure: 0.2 },
        EarRequest::Brightness,
        EarRequest::Loudness { slow: false },
        EarRequest::Loudness { slow: true },
    ]
}

#[test]
fn how_sound_is_cut_changes_nothing() {
    let sound = stereo(5.0, |t| drum(t) + tick(t));
    for song in [Knowing::Nothing, knowing(&sound)] {
        let whole = in_chunks(&sound, &all_ears(), song.clone(), usize::MAX);
        assert!(whole.iter().any(|senses| senses[0] != Sense::Struck(0.0)));
        for chunk in [1, 7, 101] {
            assert_eq!(whole, in_chunks(&sound, &all_ears(), song.clone(), chunk), "{chunk}");
        }
    }
}

#[test]
fn hearing_takes_no_memory() {
    let sound = stereo(8.0, |t| drum(t) + tick(t));
    for song in [Knowing::Nothing, knowing(&sound)] {
        let mut analysis = Analysis::new(&settings(&all_ears(), song)).unwrap();
        let (mut struck, mut frames) = (0, 0);
        let taken = allocations_during(|| {
            for frame in sound.chunks_exact(480) {
                analysis.push(SampleBlock::new(frame, 2).unwrap());
                let senses = analysis.measure().senses;
                struck += usize::from(senses[0] != Sense::Struck(0.0));
                frames += 1;
            }
        });
        assert_eq!(taken, 0, "memory was taken in {frames} frames");
        assert!(struck > 10, "{struck} events: the test shows less than it says");
    }
}
