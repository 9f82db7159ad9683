//! Against EBU Tech 3341 (2016), table 1, "Minimum requirements test signals": 1 kHz sines in both
//! channels of a stereo sound, expected values with a tolerance of 0.1 LU.

use super::sounds::{FRAMES_PER_S, hear, known, sine, stereo};
use coilscore::analysis::{EarRequest, Knowing, Sense, SongFacts, ears::Loudness};
use std::sync::Arc;

const EARS: [EarRequest; 2] =
    [EarRequest::Loudness { slow: false }, EarRequest::Loudness { slow: true }];

fn level(sense: Sense) -> (f64, f64) {
    match sense {
        Sense::Level { lufs, usual_lufs } => (lufs.into(), usual_lufs.into()),
        other => panic!("{other:?} is no level"),
    }
}

/// Level in dBFS over time, each for so many seconds.
fn steps(steps: &[(f64, f64)]) -> Vec<f32> {
    let seconds = steps.iter().map(|step| step.0).sum();
    stereo(seconds, |t| {
        let mut left = t;
        for (lasts, dbfs) in steps {
            if left < *lasts {
                return sine(1000.0, *dbfs)(t);
            }
            left -= lasts;
        }
        0.0
    })
}

/// Cases 1 and 2: momentary, short-term and integrated agree.
#[test]
fn steady_sines_read_their_level() {
    for dbfs in [-23.0, -33.0] {
        let sound = steps(&[(20.0, dbfs)]);
        let frames = hear(&sound, &EARS, Knowing::Nothing);
        // After 3 s; and from the first tenth of a second on, as what lies before does not count.
        for at_s in [0.2, 0.5, 3.5, 19.0] {
            for sense in &frames[(at_s * FRAMES_PER_S) as usize] {
                let (lufs, usual) = level(*sense);
                assert!((lufs - dbfs).abs() <= 0.1, "{lufs} LUFS at {at_s} s");
                assert!((usual - dbfs).abs() <= 0.1, "usual {usual} LUFS at {at_s} s");
            }
        }
        assert!((known(&sound).loudness.integrated_lufs - dbfs).abs() <= 0.1);
    }
}

/// Cases 3, 4 and 5: what lies below the gates does not count.
#[test]
fn integrated_loudness_is_gated() {
    for (case, sound) in [
        (3, steps(&[(10.0, -36.0), (60.0, -23.0), (10.0, -36.0)])),
        (4, steps(&[(10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)])),
        (5, steps(&[(20.0, -26.0), (20.1, -20.0), (20.0, -26.0)])),
    ] {
        let lufs = known(&sound).loudness.integrated_lufs;
        assert!((lufs + 23.0).abs() <= 0.1, "case {case}: {lufs} LUFS");
    }
}

/// EBU Tech 3342 (2016), table 1, cases 1 and 2: loudness range within 1 LU.
#[test]
fn loudness_range_is_that_of_the_steps() {
    for (low, high, range_lu) in [(-30.0, -20.0, 10.0), (-20.0, -15.0, 5.0)] {
        let got = known(&steps(&[(20.0, low), (20.0, high)])).loudness.range_lu;
        assert!((got - range_lu).abs() <= 1.0, "{got} LU");
    }
}

#[test]
fn of_a_known_song_the_usual_is_its_own_from_the_first_frame() {
    let sound = steps(&[(2.0, -40.0), (1.0, -20.0)]);
    let loudness = Loudness { integrated_lufs: -18.5, range_lu: 3.0 };
    let song = Knowing::Song(Arc::new(SongFacts { loudness, events: vec![] }));
    let frames = hear(&sound, &EARS, song);
    assert!(frames.iter().skip(30).all(|senses| level(senses[1]).1 == -18.5));
}

/// 20 s time constant downwards to 10 LU below, 120 s further down: by hand after a step.
#[test]
fn the_usual_is_followed_slowly() {
    for (down_lu, time_s) in [(6.0, 20.0), (30.0, 120.0)] {
        let sound = steps(&[(10.0, -20.0), (23.0, -20.0 - down_lu)]);
        let frames = hear(&sound, &EARS, Knowing::Nothing);
        let usual = |at_s: f64| level(frames[(at_s * FRAMES_PER_S) as usize][1]).1;
        // From 13 s on the short-term value is the low one.
        let part = (usual(13.0) - usual(33.0)) / (usual(13.0) - (-20.0 - down_lu));
        let by_hand = 1.0 - (-20.0_f64 / time_s).exp();
        let expected = if down_lu > 10.0 { by_hand } else { 0.632 };
        assert!((part - expected).abs() < 0.02, "{part} of the way, by hand {expected}");
    }
}

#[test]
fn silence_is_no_loudness_and_leaves_the_usual_alone() {
    let frames = hear(&steps(&[(4.0, -23.0), (8.0, -200.0)]), &EARS, Knowing::Nothing);
    let (lufs, usual) = level(*frames.last().unwrap().last().unwrap());
    assert_eq!(lufs, -70.0);
    assert!((usual + 23.0).abs() < 4.0, "{usual}");
}
