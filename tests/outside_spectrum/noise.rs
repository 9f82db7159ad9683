//! Noise: equal power per octave, per hertz, and the same through every window.

use crate::signals::{band, mean_dbfs, pink, settings, white};
use coilscore::analysis::Channel::All;
use coilscore::analysis::scale::Scale;

/// White noise has equal power per hertz: by hand, mean square 1/3 spread evenly to half the rate.
/// An octave up is twice the width: 3.01 dB more in base 2, 3.00 dB (10 log10 G) in base 10.
#[test]
fn white_noise_reads_its_density_in_every_band() {
    let rate = 48_000;
    let octaves = Scale::Octave.bands(63.0, 8000.0);
    let requests: Vec<_> =
        octaves.iter().map(|octave| band(octave.low_hz.0, octave.high_hz.0, All)).collect();
    let levels = mean_dbfs(&settings(rate, 1, &requests), &white(60, 48_000), 0.2);
    for (octave, level) in octaves.iter().zip(&levels) {
        let share = (octave.high_hz.0 - octave.low_hz.0) / 24_000.0;
        let by_hand = 10.0 * (2.0 / 3.0 * share).log10();
        let spread = if octave.nominal_hz < 100.0 { 0.5 } else { 0.25 };
        assert!((level - by_hand).abs() < spread, "{}: {level}, {by_hand}", octave.nominal_hz);
    }
    for pair in levels.windows(2) {
        assert!((pair[1] - pair[0] - 3.0).abs() < 0.5, "{levels:?}");
    }
}

/// Pink noise has equal power per octave.
#[test]
fn pink_noise_reads_equal_in_every_octave() {
    let rate = 48_000;
    let samples = pink(60);
    let octaves = Scale::Octave.bands(63.0, 4000.0);
    let requests: Vec<_> =
        octaves.iter().map(|octave| band(octave.low_hz.0, octave.high_hz.0, All)).collect();
    let levels = mean_dbfs(&settings(rate, 1, &requests), &samples, 2.0);
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    for (octave, level) in octaves.iter().zip(&levels) {
        assert!((level - mean).abs() < 0.6, "{}: {level} of {levels:?}", octave.nominal_hz);
    }
}

/// Steady noise reads the same density through all six windows.
#[test]
fn windows_agree_on_steady_noise() {
    let requests = [
        (100.0, 170.0),   // low, long
        (100.0, 400.0),   // low, short
        (600.0, 800.0),   // middle, long
        (600.0, 1000.0),  // middle, short
        (3000.0, 3800.0), // top, long
        (3000.0, 6000.0), // top, short
    ];
    let asked: Vec<_> = requests.iter().map(|&(low, high)| band(low, high, All)).collect();
    let analysis = coilscore::analysis::Analysis::new(&settings(44_100, 1, &asked)).unwrap();
    let windows_ms: Vec<f64> =
        analysis.bands().iter().map(|info| (info.window_s.0 * 1e4).round() / 10.0).collect();
    assert_eq!(windows_ms, [128.1, 63.9, 32.0, 16.0, 10.7, 5.3]);
    let levels = mean_dbfs(&settings(44_100, 1, &asked), &white(60, 44_100), 0.2);
    for ((low, high), level) in requests.iter().zip(&levels) {
        let by_hand = 10.0 * (2.0 / 3.0 * (high - low) / 22_050.0).log10();
        assert!((level - by_hand).abs() < 0.25, "{low} to {high}: {level}, by hand {by_hand}");
    }
}
