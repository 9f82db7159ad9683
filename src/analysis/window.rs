//! The window the spectra look through, and the figures a window is judged by.
//!
//! A symmetric window keeps its best view for sound that is half a window old. Ours rises as half
//! a Hann window over the past and falls as a shorter half at the newest end, so that an event
//! counts fully as soon as it is one fall old. Its noise bandwidth is that of the Hann window,
//! exactly 1.5 / T, whatever the two halves' lengths; what it pays is a wider foot (2 bins from a
//! sine 19 dB are left beyond for a fall of a quarter, 15 dB for an eighth, 33 dB for a half).

use std::f64::consts::PI;

/// A rising half of `rise` samples (0 first) and a falling half of `fall` samples (1 first).
///
/// With equal halves this is the periodic Hann window.
pub fn half_hanns(rise: usize, fall: usize) -> Vec<f64> {
    let half = |len: usize| (0..len).map(move |n| 0.5 * libm::cos(PI * n as f64 / len as f64));
    half(rise).map(|c| 0.5 - c).chain(half(fall).map(|c| 0.5 + c)).collect()
}

/// Mean of the window: the gain for a sine that stands on a bin.
pub fn coherent_gain(window: &[f64]) -> f64 {
    window.iter().sum::<f64>() / window.len() as f64
}

/// Equivalent noise bandwidth in bins of an unpadded transform: multiply by rate / length for Hz.
pub fn noise_bandwidth_bins(window: &[f64]) -> f64 {
    let sum: f64 = window.iter().sum();
    energy(window) * window.len() as f64 / (sum * sum)
}

/// Sum of squares.
pub fn energy(window: &[f64]) -> f64 {
    window.iter().map(|w| w * w).sum()
}

/// Power of the window's transform at `cycles_per_sample`, relative to the whole window's energy.
pub(super) fn response(window: &[f64], cycles_per_sample: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, w) in window.iter().enumerate() {
        let (sin, cos) = libm::sincos(2.0 * PI * cycles_per_sample * n as f64);
        re += w * cos;
        im += w * sin;
    }
    (re * re + im * im) / energy(window)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sums over a half Hann are whole: no length and no split changes the bandwidth.
    #[test]
    fn noise_bandwidth_is_exactly_one_and_a_half_bins() {
        for (rise, fall) in [(265, 88), (154, 22), (353, 118), (4, 3), (205, 30)] {
            let window = half_hanns(rise, fall);
            assert!((noise_bandwidth_bins(&window) - 1.5).abs() < 1e-12, "{rise}+{fall}");
            assert!((coherent_gain(&window) - 0.5).abs() < 1e-12, "{rise}+{fall}");
        }
    }
}
