//! Samples as they come to pairs of channels without what is no sound: NaN, runaway values, and
//! the constant voltage that many sound inputs add.
//!
//! A constant voltage must go before the spectra: the foot of a short window would carry it into
//! the bass bands at 15 dB below itself.

use crate::audio::SampleBlock;

/// Where the removal of the constant part takes 3 dB: 0.04 dB at 20 Hz.
const CORNER_HZ: f64 = 2.0;

/// Samples beyond this (+40 dBFS) are not sound.
const LARGEST: f32 = 100.0;

/// How channels are laid out in pairs. Mono counts as the same sound on both sides; an odd last
/// channel is paired with silence.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    channels: usize,
}

impl Layout {
    pub(super) fn new(channels: u16) -> Self {
        Self { channels: usize::from(channels) }
    }

    pub(super) fn is_mono(self) -> bool {
        self.channels == 1
    }

    pub(super) fn pairs(self) -> usize {
        self.channels.div_ceil(2)
    }

    /// Number of channels over which a mean is taken.
    pub(super) fn counted(self) -> usize {
        if self.is_mono() { 2 } else { self.channels }
    }
}

/// One pair's way in.
#[derive(Debug, Clone)]
pub(super) struct Inlet {
    layout: Layout,
    first_channel: usize,
    /// Constant part of either channel.
    constant: [f64; 2],
    /// Share of it that a new sample leaves in place.
    stays: f64,
}

impl Inlet {
    pub(super) fn new(layout: Layout, pair: usize, rate_hz: f64) -> Self {
        let stays = libm::exp(-2.0 * std::f64::consts::PI * CORNER_HZ / rate_hz);
        Self { layout, first_channel: 2 * pair, constant: [0.0; 2], stays }
    }

    /// Replaces `pairs` by this pair's part of `block`. A block with fewer channels than agreed
    /// leaves the missing ones silent; channels that are too many are not heard.
    pub(super) fn take(&mut self, block: SampleBlock<'_>, pairs: &mut Vec<f32>) {
        pairs.clear();
        let instants = block.interleaved().chunks_exact(usize::from(block.channels()));
        if self.layout.channels == 2 && block.channels() == 2 {
            pairs.extend(block.interleaved().iter().map(|&sample| sound(sample)));
        } else {
            for instant in instants {
                let channel = |c: usize| instant.get(c).map_or(0.0, |&sample| sound(sample));
                let first = channel(self.first_channel);
                let second =
                    if self.layout.is_mono() { first } else { channel(self.first_channel + 1) };
                pairs.extend_from_slice(&[first, second]);
            }
        }
        self.remove_constant(pairs);
    }

    #[expect(clippy::cast_possible_truncation, reason = "samples are single precision")]
    fn remove_constant(&mut self, pairs: &mut [f32]) {
        let (stays, comes) = (self.stays, 1.0 - self.stays);
        let [mut first, mut second] = self.constant;
        for pair in pairs.chunks_exact_mut(2) {
            if let [a, b] = pair {
                let (x, y) = (f64::from(*a), f64::from(*b));
                *a = (x - first) as f32;
                *b = (y - second) as f32;
                first = stays * first + comes * x;
                second = stays * second + comes * y;
            }
        }
        self.constant = [first, second];
    }
}

fn sound(sample: f32) -> f32 {
    if sample.is_nan() { 0.0 } else { sample.clamp(-LARGEST, LARGEST) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn through(channels: u16, pair: usize, samples: &[f32], sent_as: u16) -> Vec<f32> {
        let mut pairs = Vec::new();
        let block = SampleBlock::new(samples, sent_as).unwrap();
        Inlet::new(Layout::new(channels), pair, 1e12).take(block, &mut pairs);
        pairs
    }

    #[test]
    fn channels_are_paired_in_order() {
        assert_eq!(through(1, 0, &[0.1, 0.2], 1), [0.1, 0.1, 0.2, 0.2]);
        assert_eq!(through(2, 0, &[0.1, 0.2, 0.3, 0.4], 2), [0.1, 0.2, 0.3, 0.4]);
        assert_eq!(through(3, 1, &[0.1, 0.2, 0.3], 3), [0.3, 0.0]);
        assert_eq!(through(2, 0, &[0.1, 0.2], 1), [0.1, 0.0, 0.2, 0.0]);
        assert_eq!(through(2, 0, &[0.1, 0.2, 0.3], 3), [0.1, 0.2]);
    }

    #[test]
    fn what_is_no_sound_is_taken_out() {
        let odd = [f32::NAN, f32::INFINITY, -1e30, 0.5];
        assert_eq!(through(2, 0, &odd, 2), [0.0, LARGEST, -LARGEST, 0.5]);
    }

    #[test]
    fn a_constant_fades_and_a_low_tone_stays() {
        let rate = 8000.0;
        let mut inlet = Inlet::new(Layout::new(2), 0, rate);
        let tone = |n: u32| libm::sinf(std::f32::consts::TAU * 20.0 * n as f32 / 8000.0);
        let sound: Vec<f32> = (0..16_000).flat_map(|n| [0.25, tone(n)]).collect();
        let mut pairs = Vec::new();
        inlet.take(SampleBlock::new(&sound, 2).unwrap(), &mut pairs);
        let (left, right): (Vec<f32>, Vec<f32>) =
            pairs.chunks(2).skip(8000).map(|pair| (pair[0], pair[1])).unzip();
        let square = |x: &[f32]| x.iter().map(|x| x * x).sum::<f32>() / x.len() as f32;
        assert!(square(&left) < 1e-10);
        // First-order high pass by hand: 1 / (1 + (2 Hz / 20 Hz)^2) of the power.
        assert!((square(&right) / 0.5 - 1.0 / 1.01).abs() < 2e-3, "{}", square(&right));
    }
}
