//! What each channel choice hears.

use crate::signals::{band, frames, settings, sine, sound};
use coilscore::analysis::Channel::{self, All, Left, Mid, Right, Side};
use coilscore::analysis::SILENCE_DBFS;

const EVERY: [Channel; 5] = [All, Left, Right, Mid, Side];

/// Levels in `EVERY` order for one instant's channels given as functions of a 60 Hz sine.
fn reads(low: f64, high: f64, hz: f64, gains: &[f32]) -> Vec<f32> {
    let channels = gains.len() as u16;
    let requests = EVERY.map(|channel| band(low, high, channel));
    let mono = sound(44_100, 1, 1.0, sine(hz));
    let samples: Vec<f32> = mono.iter().flat_map(|&x| gains.iter().map(move |g| g * x)).collect();
    let all = frames(&settings(44_100, channels, &requests), &samples);
    all.last().unwrap().band_dbfs.clone()
}

fn close(got: &[f32], want: [f32; 5], what: &str) {
    for ((got, want), channel) in got.iter().zip(want).zip(EVERY) {
        let good = if want == SILENCE_DBFS { *got < -100.0 } else { (got - want).abs() < 0.15 };
        assert!(good, "{what}: {channel} reads {got}, not {want}");
    }
}

/// Bass cut out of phase on the two sides keeps its level in all and side; an amplitude down-mix
/// would lose it.
#[test]
fn out_of_phase_bass_is_kept() {
    let silent = SILENCE_DBFS;
    for (low, high, hz) in [(40.0, 130.0, 85.0), (700.0, 1100.0, 900.0), (4000.0, 9000.0, 6500.0)] {
        close(&reads(low, high, hz, &[1.0, -1.0]), [0.0, 0.0, 0.0, silent, 0.0], "opposed");
        close(&reads(low, high, hz, &[1.0, 1.0]), [0.0, 0.0, 0.0, 0.0, silent], "equal");
        // One side only: half the mean power, half the amplitude in mid and side.
        close(&reads(low, high, hz, &[1.0, 0.0]), [-3.01, 0.0, silent, -6.02, -6.02], "left");
        close(&reads(low, high, hz, &[0.0, 0.5]), [-9.03, silent, -6.02, -12.04, -12.04], "right");
    }
}

/// Mono reads in every choice what the same sound on both sides reads, bit for bit; in side it is
/// silent.
#[test]
fn mono_reads_like_the_same_on_both_sides() {
    let mono = reads(40.0, 130.0, 85.0, &[0.5]);
    let both = reads(40.0, 130.0, 85.0, &[0.5, 0.5]);
    assert_eq!(mono[..4], both[..4]);
    assert_eq!(mono[4], SILENCE_DBFS);
}

/// More channels: all is the mean over all of them, the other choices hear the first two.
#[test]
fn further_channels_count_in_all_only() {
    close(&reads(40.0, 130.0, 85.0, &[1.0; 6]), [0.0, 0.0, 0.0, 0.0, SILENCE_DBFS], "six");
    let fourth = [0.0, 0.0, 0.0, 1.0, 0.0];
    let by_hand = 10.0 * 0.2_f32.log10();
    let silent = SILENCE_DBFS;
    close(&reads(40.0, 130.0, 85.0, &fourth), [by_hand, silent, silent, silent, silent], "fourth");
    let odd_last = [0.0, 0.0, 1.0];
    let by_hand = 10.0 * (1.0_f32 / 3.0).log10();
    close(&reads(40.0, 130.0, 85.0, &odd_last), [by_hand, silent, silent, silent, silent], "third");
}
