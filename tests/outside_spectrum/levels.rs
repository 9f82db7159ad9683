//! Levels of waves whose power is known by hand.
//!
//! Convention (AES17, from memory): a full-scale sine reads 0 dBFS, which is 3.0103 dB more than
//! its mean square. By hand then: square wave +3.0103 dBFS, triangle -1.7609 dBFS.

use crate::signals::{band, frames, mean_dbfs, settings, sine, sound};
use coilscore::analysis::Channel::All;

/// The levels of the last frame.
fn reads(rate: u32, bands: &[(f64, f64)], wave: impl Fn(f64) -> f64) -> (Vec<f32>, f32) {
    let requests: Vec<_> = bands.iter().map(|&(low, high)| band(low, high, All)).collect();
    let samples = sound(rate, 1, 1.5, wave);
    let all = frames(&settings(rate, 1, &requests), &samples);
    let last = all.last().unwrap();
    (last.band_dbfs.clone(), last.overall_dbfs)
}

/// The energy form reads a sine the same on a bin and between two; the amplitude form would read
/// 1.42 dB less between bins (20 log10(3 pi / 8)).
#[test]
fn a_full_scale_sine_reads_zero_on_and_between_bins() {
    // Bins at 48 kHz: 3000/512 Hz low, 12000/512 Hz middle, 48000/512 Hz top (long windows);
    // 3000/256, 12000/256, 48000/256 Hz (short).
    let bands = [
        (40.0_f64, 75.0_f64, 3000.0_f64 / 512.0),
        (100.0, 400.0, 3000.0 / 256.0),
        (800.0, 1000.0, 12_000.0 / 512.0),
        (600.0, 2000.0, 12_000.0 / 256.0),
        (6000.0, 6800.0, 48_000.0 / 512.0),
        (3000.0, 20_000.0, 48_000.0 / 256.0),
    ];
    for (low, high, bin) in bands {
        let middle = ((low + high) / 2.0 / bin).round();
        for place in [0.0, 0.25, 0.5] {
            let hz = (middle + place) * bin;
            let (levels, overall) = reads(48_000, &[(low, high)], sine(hz));
            assert!(levels[0].abs() < 0.13, "{hz} Hz in {low} to {high}: {}", levels[0]);
            assert!(overall.abs() < 0.3, "{hz} Hz overall: {overall}");
        }
    }
    // Far from every edge the level is exact.
    for hz in [9000.0, 9093.75, 9046.875] {
        let level = reads(48_000, &[(20.0, 24_000.0)], sine(hz)).0[0];
        assert!(level.abs() < 3e-3, "{hz} Hz: {level}");
    }
}

#[test]
fn square_and_triangle_read_their_power() {
    // 375 Hz divides 48 kHz: 128 samples a period, no sample on a jump.
    let phase = |t: f64| (375.0 * t + 0.5 / 128.0).fract();
    let square = |t: f64| if phase(t) < 0.5 { 1.0 } else { -1.0 };
    let triangle = |t: f64| 1.0 - 4.0 * (phase(t) - 0.5).abs();
    // Mean over the phases at which frames find the wave.
    let whole = |wave: &dyn Fn(f64) -> f64| {
        let settings = settings(48_000, 1, &[band(20.0, 24_000.0, All)]);
        let samples = sound(48_000, 1, 1.0, wave);
        (mean_dbfs(&settings, &samples, 0.2)[0], frames(&settings, &samples)[199].overall_dbfs)
    };
    for (name, dbfs, got) in
        [("square", 3.0103, whole(&square)), ("triangle", -1.7609, whole(&triangle))]
    {
        assert!((got.0 - dbfs).abs() < 0.03, "{name} reads {}", got.0);
        assert!((f64::from(got.1) - dbfs).abs() < 0.06, "{name} overall {}", got.1);
    }
    // Fourier series by hand: the square's fundamental has amplitude 4/pi, its third harmonic a
    // third of that: 2.0982 and -7.4443 dB.
    let (levels, _) = reads(48_000, &[(300.0, 450.0), (1000.0, 1250.0)], square);
    assert!((levels[0] - 2.0982).abs() < 0.15, "{}", levels[0]);
    assert!((levels[1] + 7.4443).abs() < 0.15, "{}", levels[1]);
}

/// Adjoining bands of one window sum to the whole: Parseval, with fractional bins shared.
#[test]
fn bands_of_one_window_sum_to_its_total() {
    let wave = |t: f64| 0.3 * sine(113.0)(t) + 0.2 * sine(271.3)(t) + 0.1 * sine(456.7)(t);
    let edges = [0.0, 97.3, 188.8, 301.2, 402.55, 490.0];
    let mut bands: Vec<_> = edges.windows(2).map(|pair| (pair[0], pair[1])).collect();
    bands.push((0.0, 490.0));
    let (levels, _) = reads(44_100, &bands, wave);
    let power = |level: &f32| 10_f64.powf(f64::from(*level) / 10.0);
    let (whole, parts) = levels.split_last().unwrap();
    let sum: f64 = parts.iter().map(power).sum();
    assert!((sum / power(whole) - 1.0).abs() < 1e-5, "{sum} of {}", power(whole));
    // Power of the sines by hand: 0.09 + 0.04 + 0.01 of a full-scale one.
    assert!((power(whole) / 0.14 - 1.0).abs() < 0.03, "{}", power(whole));
}

/// A constant voltage on the line is no bass, and rumble is no music.
#[test]
fn a_constant_is_not_heard() {
    let (levels, overall) = reads(44_100, &[(30.0, 110.0), (600.0, 1000.0)], |_| 0.1);
    assert!(levels[0] < -100.0 && levels[1] < -100.0, "{levels:?}");
    assert!(overall < -100.0, "{overall}");
    let (_, overall) = reads(44_100, &[], sine(5.0));
    assert!(overall < -20.0, "{overall}");
}

/// Sound above the limit does not fold down into the bands.
#[test]
fn what_lies_above_does_not_fold_down() {
    // At 96 kHz: 26 kHz would fold to 22 kHz, 47 kHz to 1 kHz. At 48 kHz the middle level would
    // take 11.5 kHz for 500 Hz and the low one 2.9 kHz for 100 Hz.
    let cases = [
        (96_000, 47_000.0, (800.0, 1200.0)),
        (96_000, 27_500.0, (18_000.0, 21_500.0)),
        (192_000, 47_000.0, (800.0, 1200.0)),
        (48_000, 11_500.0, (450.0, 700.0)),
        (48_000, 2900.0, (50.0, 200.0)),
        (48_000, 12_100.0, (50.0, 200.0)),
    ];
    for (rate, hz, (low, high)) in cases {
        let level = reads(rate, &[(low, high)], sine(hz)).0[0];
        assert!(level < -74.0, "{hz} Hz at {rate} reads {level} in {low} to {high}");
    }
}
