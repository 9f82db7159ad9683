//! Against closed forms: the power-weighted mean of frequency of tones and of white noise.

use super::sounds::{FRAMES_PER_S, RATE_HZ, hear, noise, sine, stereo};
use coilscore::analysis::{EarRequest, Knowing, Sense};

fn centroid_hz(sound: &[f32], at_s: f64) -> f64 {
    let frames = hear(sound, &[EarRequest::Brightness], Knowing::Nothing);
    match frames[(at_s * FRAMES_PER_S) as usize][0] {
        Sense::Centroid(hz) => hz.into(),
        other => panic!("{other:?} is no centroid"),
    }
}

#[test]
fn a_tone_reads_its_own_frequency() {
    for hz in [250.0, 440.0, 900.0, 1500.0, 3000.0, 8000.0, 12_000.0] {
        let got = centroid_hz(&stereo(1.0, sine(hz, -20.0)), 0.9);
        assert!((got / hz - 1.0).abs() < 0.06, "{hz} Hz reads {got} Hz");
    }
}

/// Powers p and 1 - p at f and g: p f + (1 - p) g.
#[test]
fn two_tones_read_their_weighted_mean() {
    for (f, g, difference_db) in
        [(300.0, 5000.0, 0.0), (300.0, 5000.0, 6.0), (1000.0, 10_000.0, 12.0)]
    {
        let (low, high) = (sine(f, -20.0), sine(g, -20.0 - difference_db));
        let got = centroid_hz(&stereo(1.0, |t| low(t) + high(t)), 0.9);
        let (p, q) = (1.0, 10.0_f64.powf(-difference_db / 10.0));
        let by_hand = (p * f + q * g) / (p + q);
        assert!((got / by_hand - 1.0).abs() < 0.05, "{got} Hz, by hand {by_hand} Hz");
    }
}

/// White noise from 120 Hz to 16 kHz has its centroid in the middle: 8060 Hz. One frame sees 5 ms
/// of it at the top, so a mean over frames is taken.
#[test]
fn white_noise_reads_the_middle() {
    let sound = stereo(3.0, |t| 0.1 * noise((t * f64::from(RATE_HZ)).round() as u32));
    let frames = hear(&sound, &[EarRequest::Brightness], Knowing::Nothing);
    let hz = frames.iter().skip(40).map(|senses| match senses[0] {
        Sense::Centroid(hz) => f64::from(hz),
        _ => 0.0,
    });
    let mean = hz.clone().sum::<f64>() / hz.count() as f64;
    assert!((mean / 8060.0 - 1.0).abs() < 0.03, "{mean} Hz");
}

#[test]
fn it_stands_still_while_nothing_plays() {
    let tone = sine(2000.0, -20.0);
    let sound = stereo(5.0, |t| if t < 1.0 { tone(t) } else { 1e-6 * tone(t) });
    let (before, after) = (centroid_hz(&sound, 0.9), centroid_hz(&sound, 4.9));
    assert!((before / 2000.0 - 1.0).abs() < 0.06);
    assert!((after / before - 1.0).abs() < 0.2, "{before} Hz, then {after} Hz");
}
