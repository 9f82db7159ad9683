//! Window figures of merit.
//!
//! Source: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
//! transform", Proc. IEEE 66(1), 1978, Table 1: coherent gain and noise bandwidth as remembered
//! (from memory, two decimals); the longer figures are computed from the closed forms
//! CG = a0 and ENBW = (a0^2 + sum(ak^2) / 2) / a0^2. The windows other than the Hann are made
//! here: they only test the figures.

use coilscore::analysis::window::{coherent_gain, energy, half_hanns, noise_bandwidth_bins};
use std::f64::consts::{PI, TAU};

/// Periodic cosine-sum window.
fn cosine_sum(terms: &[f64], len: usize) -> Vec<f64> {
    let at = |n: usize| {
        let signs = terms.iter().enumerate();
        signs
            .map(|(k, a)| {
                let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
                sign * a * (TAU * k as f64 * n as f64 / len as f64).cos()
            })
            .sum()
    };
    (0..len).map(at).collect()
}

#[test]
fn figures_match_the_table() {
    let table: [(&str, &[f64], f64, f64, f64); 5] = [
        // window, terms, coherent gain, noise bandwidth, as printed by Harris (from memory)
        ("rectangular", &[1.0], 1.0, 1.0, 1.00),
        ("Hann", &[0.5, 0.5], 0.5, 1.5, 1.50),
        ("Hamming", &[0.54, 0.46], 0.54, 1.362_825_79, 1.36),
        ("Blackman", &[0.42, 0.5, 0.08], 0.42, 1.726_757_37, 1.73),
        ("Blackman-Harris", &[0.35875, 0.48829, 0.14128, 0.01168], 0.35875, 2.004_352_94, 2.00),
    ];
    for (name, terms, gain, bandwidth, printed) in table {
        let window = cosine_sum(terms, 4096);
        assert!((coherent_gain(&window) / gain - 1.0).abs() < 1e-9, "{name}");
        assert!((noise_bandwidth_bins(&window) / bandwidth - 1.0).abs() < 1e-8, "{name}");
        assert!((noise_bandwidth_bins(&window) - printed).abs() <= 0.005, "{name}");
    }
}

/// The table cannot tell a periodic window from a symmetric one; these can. (A symmetric Hann of
/// 1024 samples has gain 0.49951172 and bandwidth 1.50146628, computed.)
#[test]
fn with_equal_halves_the_window_is_the_periodic_hann() {
    let window = half_hanns(512, 512);
    for (n, w) in window.iter().enumerate() {
        let hann = (PI * n as f64 / 1024.0).sin().powi(2);
        assert!((w - hann).abs() < 1e-12, "at {n}");
        assert!((w + window[(n + 512) % 1024] - 1.0).abs() < 1e-12, "halves do not add up at {n}");
    }
    assert!((coherent_gain(&window) - 0.5).abs() < 1e-9);
    assert!((noise_bandwidth_bins(&window) - 1.5).abs() < 1e-9);
}

/// Power of the window's transform, `bins` from its middle.
fn response(window: &[f64], bins: f64) -> f64 {
    let angle = TAU * bins / window.len() as f64;
    let (re, im) = window.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, w)| {
        (re + w * (angle * n as f64).cos(), im + w * (angle * n as f64).sin())
    });
    re * re + im * im
}

/// Hann: half-bin loss 20 log10(3 pi / 8) = -1.4236 dB, zero at two bins, highest sidelobe
/// -31.47 dB (Harris prints 1.42 and -32, from memory; computed here).
#[test]
fn the_hann_form_has_its_known_response() {
    let window = half_hanns(256, 256);
    let db = |bins: f64| 10.0 * (response(&window, bins) / response(&window, 0.0)).log10();
    assert!((db(0.5) - 20.0 * (3.0 * PI / 8.0).log10().copysign(-1.0)).abs() < 1e-3);
    assert!((db(0.5) + 1.423_62).abs() < 1e-3);
    assert!((db(1.0) + 6.0206).abs() < 1e-3);
    assert!(db(2.0) < -250.0);
    let sidelobe = (0..128).map(|i| db(2.0 + f64::from(i) / 64.0)).fold(f64::MIN, f64::max);
    assert!((sidelobe + 31.47).abs() < 0.05, "{sidelobe}");
}

/// Parseval: the window's transform summed over an unpadded circle is length x energy.
#[test]
fn parseval_holds() {
    let window = half_hanns(265, 88);
    let sum: f64 = (0..353).map(|bin| response(&window, f64::from(bin))).sum();
    assert!((sum / (353.0 * energy(&window)) - 1.0).abs() < 1e-12);
}
