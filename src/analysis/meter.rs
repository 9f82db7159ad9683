//! Mean square of a pair of channels above 20 Hz, over about the last 25 ms.
//!
//! Rumble is found and taken off in blocks of about half a millisecond: the block's mean goes
//! through a second-order low pass (the low and band parts of a state-variable filter), and what
//! that says is subtracted from every sample of the block. Far fewer steps than a filter at the
//! sampling rate, the same attenuation: 3 dB at 20 Hz, 12 dB an octave below.

use std::f64::consts::{PI, SQRT_2};

/// Below this is rumble, not music.
const CORNER_HZ: f64 = 20.0;

/// Time constant of the mean: short enough to see a pause within a fraction of a second, long
/// enough that the lowest tones read steadily (20 Hz swings by 1 dB).
const MEAN_OVER_S: f64 = 0.025;

/// Blocks per second, about.
const BLOCKS_PER_S: f64 = 2000.0;

/// One pair's meter.
#[derive(Debug, Clone)]
pub(super) struct Meter {
    block: Vec<f32>,
    /// Floats in a whole block.
    whole: usize,
    rumble: [Rumble; 2],
    /// Share of the mean that a new block leaves in place.
    stays: f64,
    mean_square: f64,
}

impl Meter {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a rate within limits over 2000 is a small whole number"
    )]
    pub(super) fn new(rate_hz: f64) -> Self {
        let instants = (rate_hz / BLOCKS_PER_S).round().max(1.0);
        let period = instants / rate_hz;
        let whole = 2 * instants as usize;
        Self {
            block: Vec::with_capacity(whole),
            whole,
            rumble: [Rumble::new(period); 2],
            stays: libm::exp(-period / MEAN_OVER_S),
            mean_square: 0.0,
        }
    }

    pub(super) fn push(&mut self, mut pairs: &[f32]) {
        if !self.block.is_empty() {
            let missing = (self.whole - self.block.len()).min(pairs.len());
            let (head, tail) = pairs.split_at(missing);
            self.block.extend_from_slice(head);
            pairs = tail;
            if self.block.len() < self.whole {
                return;
            }
            let block = std::mem::take(&mut self.block);
            self.weigh(&block);
            self.block = block;
            self.block.clear();
        }
        let blocks = pairs.chunks_exact(self.whole);
        self.block.extend_from_slice(blocks.remainder());
        blocks.for_each(|block| self.weigh(block));
    }

    /// Sum over both channels.
    pub(super) fn mean_square(&self) -> f64 {
        self.mean_square
    }

    #[expect(clippy::cast_possible_truncation, reason = "samples are single precision")]
    fn weigh(&mut self, block: &[f32]) {
        let instants = (self.whole / 2) as f32;
        let [sum_a, sum_b] = over_lanes(block, |x, _| x, [0.0; 2]);
        let [rumble_a, rumble_b] = &mut self.rumble;
        let off = [
            rumble_a.step(f64::from(sum_a / instants)) as f32,
            rumble_b.step(f64::from(sum_b / instants)) as f32,
        ];
        let [square_a, square_b] = over_lanes(block, |x, off| (x - off) * (x - off), off);
        let now = f64::from(square_a + square_b) / f64::from(instants);
        self.mean_square = self.stays * self.mean_square + (1.0 - self.stays) * now;
    }
}

/// Sum over a block, apart for the two channels, four instants side by side.
fn over_lanes(block: &[f32], term: impl Fn(f32, f32) -> f32, off: [f32; 2]) -> [f32; 2] {
    let mut sums = [0.0_f32; 8];
    let [a, b] = off;
    let offs = [a, b, a, b, a, b, a, b];
    let whole = block.chunks_exact(8);
    let rest = whole.remainder();
    for eight in whole {
        for ((sum, &x), &off) in sums.iter_mut().zip(eight).zip(&offs) {
            *sum += term(x, off);
        }
    }
    for ((sum, &x), &off) in sums.iter_mut().zip(rest).zip(&offs) {
        *sum += term(x, off);
    }
    let [s0, s1, s2, s3, s4, s5, s6, s7] = sums;
    [(s0 + s2) + (s4 + s6), (s1 + s3) + (s5 + s7)]
}

/// The part of a channel below the corner: second order, Butterworth, trapezoidal integrators.
#[derive(Debug, Clone, Copy)]
struct Rumble {
    band: f64,
    low: f64,
    step: f64,
    scale: f64,
}

impl Rumble {
    fn new(period_s: f64) -> Self {
        let step = libm::tan(PI * CORNER_HZ * period_s);
        Self { band: 0.0, low: 0.0, step, scale: 1.0 / (1.0 + step * (SQRT_2 + step)) }
    }

    /// What a high pass would take off `x`.
    fn step(&mut self, x: f64) -> f64 {
        let high = (x - (SQRT_2 + self.step) * self.band - self.low) * self.scale;
        let to_band = self.step * high;
        let band = to_band + self.band;
        self.band = band + to_band;
        let to_low = self.step * band;
        let low = to_low + self.low;
        self.low = low + to_low;
        x - high
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reads a steady sine of amplitude 1 in both channels, dB relative to its own power.
    fn reads(rate_hz: f64, sine_hz: f64) -> f64 {
        let mut meter = Meter::new(rate_hz);
        let mut sum = 0.0;
        let seconds = 2.0;
        let total = rate_hz * seconds;
        let mut n = 0.0;
        let mut pairs = Vec::new();
        while n < total {
            #[expect(clippy::cast_possible_truncation, reason = "samples are single precision")]
            let x = libm::sin(2.0 * PI * sine_hz * n / rate_hz) as f32;
            pairs.clear();
            pairs.extend_from_slice(&[x, x]);
            meter.push(&pairs);
            if n > total / 2.0 {
                sum += meter.mean_square();
            }
            n += 1.0;
        }
        10.0 * libm::log10(sum / (total / 2.0))
    }

    /// Second-order Butterworth high pass by hand: 10 log10(r^4 / (1 + r^4)), r = f / 20 Hz.
    #[test]
    fn rumble_is_left_out_and_music_is_not() {
        for rate_hz in [8000.0, 44_100.0, 48_000.0] {
            for sine_hz in [5.0, 10.0, 20.0, 40.0, 100.0, 1000.0, 3500.0] {
                let r4 = libm::pow(sine_hz / CORNER_HZ, 4.0);
                let by_hand = 10.0 * libm::log10(r4 / (1.0 + r4));
                let read = reads(rate_hz, sine_hz);
                assert!((read - by_hand).abs() < 0.1, "{sine_hz} Hz at {rate_hz}: {read} dB");
            }
        }
    }
}
