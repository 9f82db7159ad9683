//! Linear-phase low-pass filters that keep one sample in two or four.
//!
//! Samples travel as interleaved pairs of channels, so that one pass of the taps serves two
//! channels. Output m is due when the last input sample of its group has come; it describes the
//! sound [`Decimator::delay_samples`] earlier. How the input is cut into pushes changes nothing.

#![expect(clippy::indexing_slicing, reason = "filter windows cut from a buffer sized here")]

use std::f64::consts::PI;

/// What a filter must do. Frequencies in cycles per input sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Design {
    pub(super) factor: usize,
    /// Odd, so that the delay is a whole number of samples.
    pub(super) taps: usize,
    /// Half-amplitude point, midway between the pass and the stop edge.
    pub(super) cutoff: f64,
    /// Kaiser's shape parameter.
    pub(super) beta: f64,
}

/// Between levels: pass 0.052, stop 0.198. Ripple 0.0008 dB, alias -82 dB (computed in the test).
pub(super) const BETWEEN_LEVELS: Design = Design { factor: 4, taps: 37, cutoff: 0.125, beta: 8.2 };

/// From above 64 kHz: pass 0.45, stop 0.55 of the new rate. Ripple 0.001 dB, alias -79 dB.
pub(super) const HALVE: Design = Design { factor: 2, taps: 101, cutoff: 0.25, beta: 7.8 };

/// From above 128 kHz: the same relative to the new rate.
pub(super) const QUARTER: Design = Design { factor: 4, taps: 201, cutoff: 0.125, beta: 7.8 };

impl Design {
    /// Group delay in input samples, at every frequency.
    pub(super) fn delay_samples(self) -> usize {
        (self.taps - 1) / 2
    }

    /// Impulse response, sum 1: a sinc under a Kaiser window.
    fn response(self) -> Vec<f64> {
        let middle = self.delay_samples() as f64;
        let shape = |n: usize| {
            let from_middle = n as f64 - middle;
            let place = from_middle / middle;
            let angle = 2.0 * PI * self.cutoff * from_middle;
            let sinc = if n == self.delay_samples() { 1.0 } else { libm::sin(angle) / angle };
            sinc * bessel_i0(self.beta * libm::sqrt(1.0 - place * place))
        };
        let raw: Vec<f64> = (0..self.taps).map(shape).collect();
        let sum: f64 = raw.iter().sum();
        raw.iter().map(|h| h / sum).collect()
    }
}

/// Modified Bessel function of the first kind, order 0, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let quarter_square = 0.25 * x * x;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..40 {
        term *= quarter_square / f64::from(k * k);
        sum += term;
    }
    sum
}

/// Products summed side by side: enough for the processor to work on several at once, in an order
/// that is written down here and nowhere left to it.
const LANES: usize = 16;

/// Longest run of samples taken in at once, in instants.
const PIECE: usize = 1024;

/// One filter at work on one pair of channels.
#[derive(Debug, Clone)]
pub(super) struct Decimator {
    factor: usize,
    /// Every tap twice (one for each channel), after leading zeros up to whole lanes.
    taps: Vec<f32>,
    /// Input from the first sample of the next output's window on.
    kept: Vec<f32>,
}

impl Decimator {
    pub(super) fn new(design: Design) -> Self {
        let padded = (2 * design.taps).next_multiple_of(LANES);
        let mut taps = vec![0.0; padded - 2 * design.taps];
        #[expect(clippy::cast_possible_truncation, reason = "taps are used in single precision")]
        taps.extend(design.response().iter().flat_map(|&h| [h as f32; 2]));
        let mut kept = Vec::with_capacity(padded + 2 * PIECE);
        kept.resize(padded - 2 * design.factor, 0.0);
        Self { factor: design.factor, taps, kept }
    }

    /// Takes `input` in and appends what became due to `output`.
    pub(super) fn push(&mut self, input: &[f32], output: &mut Vec<f32>) {
        for piece in input.chunks(2 * PIECE) {
            self.kept.extend_from_slice(piece);
            let mut start = 0;
            while let Some(window) = self.kept.get(start..start + self.taps.len()) {
                output.extend_from_slice(&weigh(&self.taps, window));
                start += 2 * self.factor;
            }
            let left = self.kept.len() - start;
            self.kept.copy_within(start.., 0);
            self.kept.truncate(left);
        }
    }
}

/// Sum of products, apart for the two channels.
fn weigh(taps: &[f32], window: &[f32]) -> [f32; 2] {
    let mut sums = [0.0_f32; LANES];
    for (taps, window) in taps.chunks_exact(LANES).zip(window.chunks_exact(LANES)) {
        for ((sum, tap), sample) in sums.iter_mut().zip(taps).zip(window) {
            *sum += tap * sample;
        }
    }
    let mut width = LANES;
    while width > 2 {
        width /= 2;
        for lane in 0..width {
            sums[lane] += sums[lane + width];
        }
    }
    [sums[0], sums[1]]
}

#[cfg(test)]
#[allow(clippy::cast_possible_truncation, reason = "samples are single precision")]
mod tests {
    use super::*;

    /// Gain in dB at `frequency` of the taps as they are used, in single precision.
    fn gain_db(design: Design, frequency: f64) -> f64 {
        let taps = Decimator::new(design).taps;
        let (mut re, mut im) = (0.0, 0.0);
        for (n, tap) in taps.iter().step_by(2).enumerate() {
            let (sin, cos) = libm::sincos(2.0 * PI * frequency * n as f64);
            re += f64::from(*tap) * cos;
            im += f64::from(*tap) * sin;
        }
        10.0 * libm::log10(re * re + im * im)
    }

    fn worst(design: Design, from: f64, to: f64, size: impl Fn(f64) -> f64) -> f64 {
        let points = 2000;
        let at = |i: i32| from + (to - from) * f64::from(i) / f64::from(points);
        (0..=points).map(|i| size(gain_db(design, at(i)))).fold(f64::MIN, f64::max)
    }

    #[test]
    fn ripple_and_alias_are_as_designed() {
        for (design, pass, stop, ripple_db, alias_db) in [
            (BETWEEN_LEVELS, 0.052, 0.198, 0.002, -80.0),
            (HALVE, 0.225, 0.275, 0.002, -75.0),
            (QUARTER, 0.1125, 0.1375, 0.002, -75.0),
        ] {
            let ripple = worst(design, 0.0, pass, f64::abs);
            let alias = worst(design, stop, 0.5, |gain| gain);
            assert!(ripple <= ripple_db, "{design:?}: ripple {ripple} dB");
            assert!(alias <= alias_db, "{design:?}: alias {alias} dB");
        }
    }

    /// A slow sine comes out as the sine of exactly the stated delay before.
    #[test]
    fn the_delay_is_whole_and_known() {
        for design in [BETWEEN_LEVELS, HALVE, QUARTER] {
            let sine = |n: f64| libm::sin(2.0 * PI * 0.013 * n);
            let input: Vec<f32> =
                (0..4000).flat_map(|n| [sine(f64::from(n)) as f32, 0.0]).collect();
            let mut output = Vec::new();
            Decimator::new(design).push(&input, &mut output);
            assert_eq!(output.len() / 2, 4000 / design.factor);
            for (m, pair) in output.chunks(2).enumerate().skip(design.taps) {
                let newest = (m * design.factor + design.factor - 1) as f64;
                let expected = sine(newest - design.delay_samples() as f64);
                assert!((f64::from(pair[0]) - expected).abs() < 2e-4, "{design:?} at {m}");
                assert!(pair[1].abs() < 1e-30);
            }
        }
    }

    #[test]
    fn chunks_change_nothing() {
        let input: Vec<f32> = (0..5000).map(|n| ((n * 7919) % 1000) as f32 / 500.0 - 1.0).collect();
        let mut whole = Vec::new();
        Decimator::new(BETWEEN_LEVELS).push(&input, &mut whole);
        for size in [2, 14, 882, 3000] {
            let (mut filter, mut parts) = (Decimator::new(BETWEEN_LEVELS), Vec::new());
            input.chunks(size).for_each(|chunk| filter.push(chunk, &mut parts));
            assert_eq!(whole, parts, "in chunks of {}", size / 2);
        }
    }
}
