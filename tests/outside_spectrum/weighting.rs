//! Weighting A: the curve against the standard's table, and what the analysis reads with it.

use crate::signals::{a_band, band, frames, mean_dbfs, pink, settings, sine, sound};
use coilscore::analysis::scale::{Scale, Warped};
use coilscore::analysis::{Channel, SILENCE_DBFS, Weighting, plan_band};
use coilscore::audio::SoundFormat;
use coilscore::units::Hertz;

/// Exact base-10 frequency, value computed with NumPy from the formula (constants from memory),
/// value of the table in IEC 61672-1 (as quoted, "at these precise frequencies", in an open table
/// of weightings).
#[rustfmt::skip]
const TABLE: [(f64, f64, f64); 34] = [
    (10.000_000, -70.4304, -70.4), (12.589_254, -63.3711, -63.4), (15.848_932, -56.6881, -56.7),
    (19.952_623, -50.4522, -50.5), (25.118_864, -44.7030, -44.7), (31.622_777, -39.4400, -39.4),
    (39.810_717, -34.6303, -34.6), (50.118_723, -30.2282, -30.2), (63.095_734, -26.1943, -26.2),
    (79.432_823, -22.5038, -22.5), (100.000_000, -19.1428, -19.1), (125.892_541, -16.0984, -16.1),
    (158.489_319, -13.3503, -13.4), (199.526_231, -10.8704, -10.9), (251.188_643, -8.6303, -8.6),
    (316.227_766, -6.6110, -6.6), (398.107_171, -4.8084, -4.8), (501.187_234, -3.2327, -3.2),
    (630.957_344, -1.9005, -1.9), (794.328_235, -0.8239, -0.8), (1_000.000_000, 0.0000, 0.0),
    (1_258.925_412, 0.5912, 0.6), (1_584.893_192, 0.9807, 1.0), (1_995.262_315, 1.1999, 1.2),
    (2_511.886_432, 1.2707, 1.3), (3_162.277_660, 1.1987, 1.2), (3_981.071_706, 0.9699, 1.0),
    (5_011.872_336, 0.5487, 0.5), (6_309.573_445, -0.1212, -0.1), (7_943.282_347, -1.1107, -1.1),
    (10_000.000_000, -2.4918, -2.5), (12_589.254_118, -4.3175, -4.3), (15_848.931_925, -6.6026, -6.6),
    (19_952.623_150, -9.3169, -9.3),
];

#[test]
fn the_curve_matches_the_standard() {
    for (hz, computed, table) in TABLE {
        let got = Weighting::A.db(Hertz(hz));
        assert!((got - table).abs() < 0.05, "{hz} Hz: {got} dB, table {table}");
        assert!((got - computed).abs() < 1e-3, "{hz} Hz: {got} dB, computed {computed}");
    }
    assert_eq!(Weighting::A.power(Hertz(1000.0)), 1.0);
    assert_eq!(Weighting::A.power(Hertz(0.0)), 0.0);
    assert_eq!(Weighting::None.db(Hertz(37.0)), 0.0);
}

/// What steady sines read in an A-weighted band, less their level and the curve.
fn errors(low_hz: f64, high_hz: f64, sines_hz: &[f64]) -> Vec<f64> {
    let rate = 48_000;
    let error = |&hz: &f64| {
        let wave = sine(hz);
        let samples = sound(rate, 1, 0.5, |t| 0.1 * wave(t));
        let all = frames(&settings(rate, 1, &[a_band(low_hz, high_hz)]), &samples);
        let reads = |frame: &crate::signals::Frame| {
            f64::from(frame.band_dbfs[0]) + 20.0 - Weighting::A.db(Hertz(hz))
        };
        let worst = |a: f64, b: f64| if b.abs() > a.abs() { b } else { a };
        all[40..].iter().map(reads).fold(0.0, worst)
    };
    sines_hz.iter().map(error).collect()
}

/// A sine in the middle of each third, heard in the octave around it, reads its level and the
/// standard's value for it.
#[test]
fn sines_read_their_weighted_level_in_the_octave_around_them() {
    for &(hz, _, table) in TABLE.iter().filter(|row| (63.0..=12_600.0).contains(&row.0)) {
        let error = errors(hz / 2_f64.sqrt(), hz * 2_f64.sqrt(), &[hz])[0];
        let most = if hz < 100.0 { 0.3 } else { 0.15 };
        assert!(error.abs() < most, "{hz} Hz ({table} dB): off by {error} dB");
    }
}

/// One band over all that is heard weighs each tone by its own frequency.
#[test]
fn a_wide_band_weighs_each_tone_by_itself() {
    let thirds: Vec<f64> = TABLE.iter().map(|row| row.0).collect();
    let heard: Vec<f64> = thirds.into_iter().filter(|hz| (63.0..=16_000.0).contains(hz)).collect();
    for (hz, error) in heard.iter().zip(errors(20.0, 22_000.0, &heard)) {
        let most = if *hz < 100.0 { 0.3 } else { 0.15 };
        assert!(error.abs() < most, "{hz} Hz: off by {error} dB");
    }
    // The curve falls by 12 dB or more an octave here, and the window reaches over some hertz.
    for (hz, error) in [31.6, 40.0, 50.0].iter().zip(errors(20.0, 22_000.0, &[31.6, 40.0, 50.0])) {
        assert!(error.abs() < 1.1, "{hz} Hz: off by {error} dB");
    }
    // In a band of the bass alone, too: there the curve is steepest.
    for error in errors(40.0, 160.0, &[63.1, 79.4, 100.0]) {
        assert!(error.abs() < 0.3, "off by {error} dB");
    }
}

/// Where two pieces of a wide band meet, a tone is counted once.
#[test]
fn a_tone_where_pieces_meet_is_counted_once() {
    let near: Vec<f64> = (0..40).map(|n| 240.0 * 1.065_f64.powi(n)).collect();
    assert!(near[39] > 2500.0);
    for (hz, error) in near.iter().zip(errors(20.0, 22_000.0, &near)) {
        assert!(error.abs() < 0.25, "{hz} Hz: off by {error} dB");
    }
}

/// The whole of pink noise through one weighted band equals the sum of its thirds, each plain and
/// weighted by the standard's value for its middle.
#[test]
fn weighted_noise_is_the_sum_of_weighted_thirds() {
    let thirds = Scale::ThirdOctave.bands(125.0, 12_500.0);
    let mut requests: Vec<_> =
        thirds.iter().map(|third| band(third.low_hz.0, third.high_hz.0, Channel::All)).collect();
    let (low, high) = (thirds[0].low_hz.0, thirds[thirds.len() - 1].high_hz.0);
    requests.push(a_band(low, high));
    let levels = mean_dbfs(&settings(48_000, 1, &requests), &pink(40), 2.0);
    let rows = TABLE.iter().filter(|row| (125.0..=12_600.0).contains(&row.0));
    let power: f64 =
        levels.iter().zip(rows).map(|(db, row)| 10_f64.powf((db + row.2) / 10.0)).sum();
    let (sum, whole) = (10.0 * power.log10(), levels[thirds.len()]);
    assert!((sum - whole).abs() < 0.15, "{whole} dB, by thirds {sum}");
    // And it is something else than the plain sum.
    let plain: f64 = levels[..thirds.len()].iter().map(|db| 10_f64.powf(db / 10.0)).sum();
    assert!((10.0 * plain.log10() - whole).abs() > 1.0);
}

/// The price: where the curve is steep or the band wide, longer windows.
#[test]
fn weighting_takes_longer_windows_where_it_must() {
    let at = SoundFormat { rate_hz: 48_000, channels: 2 };
    let window_ms = |low, high, weighting| {
        let plain = band(low, high, Channel::All);
        let info = plan_band(at, &coilscore::analysis::BandRequest { weighting, ..plain }).unwrap();
        (info.window_s.0 * 1e4).round() / 10.0
    };
    for (low, high, plain, weighted) in [
        (40.0, 160.0, 64.0, 128.0),
        (150.0, 400.0, 64.0, 64.0),
        (20.0, 20_000.0, 5.3, 128.0),
        (600.0, 8000.0, 5.3, 32.0),
        (300.0, 1000.0, 16.0, 16.0),
        (1400.0, 8000.0, 5.3, 5.3),
    ] {
        assert_eq!(window_ms(low, high, Weighting::None), plain, "{low} to {high}");
        assert_eq!(window_ms(low, high, Weighting::A), weighted, "{low} to {high}");
    }
}

/// At every rate, with and without sound up there, weighted levels are levels.
#[test]
fn every_rate_is_weighted() {
    for rate in [8000, 22_050, 44_100, 96_000, 192_000] {
        let edges = Warped::Mel.edges_hz((50.0, 20_000.0), 8);
        let mut requests: Vec<_> = edges.windows(2).map(|p| a_band(p[0], p[1])).collect();
        requests.push(a_band(20.0, 24_000.0));
        let samples = sound(rate, 1, 0.4, sine(1000.0));
        let last = frames(&settings(rate, 1, &requests), &samples).pop().unwrap();
        assert!(last.band_dbfs[8].abs() < 0.1, "{rate}: {}", last.band_dbfs[8]);
        let beyond = f64::from(rate) / 2.0 < edges[7];
        assert_eq!(last.band_dbfs[7] == SILENCE_DBFS, beyond, "{rate}");
    }
}

/// A narrow band covers parts of bins only: around 1 kHz it reads the same with and without
/// weighting, wherever its edges fall between two bins.
#[test]
fn narrow_bands_weigh_the_share_of_their_bins() {
    for shift in [0.0, 3.0, 7.0, 13.0, 19.0] {
        let (low, high) = (965.0 + shift, 1020.0 + shift);
        let requests = [band(low, high, Channel::All), a_band(low, high)];
        let levels = mean_dbfs(&settings(48_000, 1, &requests), &pink(3), 0.2);
        assert!((levels[0] - levels[1]).abs() < 0.05, "{low} to {high}: {levels:?}");
    }
}
