//! Sounds made by arithmetic, for tests and demonstrations: the same samples every time.
//!
//! The functions give one channel each; [`interleave`] puts channels side by side and [`Samples`]
//! turns them into a [`Source`] that hands out blocks of whatever lengths are asked for.

use std::f64::consts::TAU;

use super::noise::{Pink, White};
use super::{SampleBlock, SoundError, SoundFormat, Source};

/// `instants` samples of `peak * sin(2 pi * hz * t)`, starting at phase 0.
///
/// The phase is worked out afresh at every sample and does not drift.
pub fn sine(rate_hz: u32, hz: f64, peak: f64, instants: usize) -> Vec<f32> {
    let turns = |n: usize| (n as f64 * hz / f64::from(rate_hz)).fract();
    (0..instants).map(|n| narrow(peak * libm::sin(TAU * turns(n)))).collect()
}

/// Silence but for one sample: a single `height` at instant `at`, nothing where `at` is beyond.
pub fn click(at: usize, height: f64, instants: usize) -> Vec<f32> {
    (0..instants).map(|n| if n == at { narrow(height) } else { 0.0 }).collect()
}

/// White noise, spread evenly over -peak to peak. Its root mean square is peak / sqrt(3).
pub fn white_noise(seed: u64, peak: f64, instants: usize) -> Vec<f32> {
    let mut noise = White::new(seed, peak);
    (0..instants).map(|_| narrow(noise.next_sample())).collect()
}

/// Pink noise with this root mean square; see [`Pink`] for how and how well.
pub fn pink_noise(seed: u64, rms: f64, instants: usize) -> Vec<f32> {
    let mut noise = Pink::new(seed, rms);
    (0..instants).map(|_| narrow(noise.next_sample())).collect()
}

/// Nothing at all.
pub fn silence(instants: usize) -> Vec<f32> {
    vec![0.0; instants]
}

/// Adds `sound` to `bed` from instant `at` on; what does not fit is left out.
pub fn mix_in(bed: &mut [f32], sound: &[f32], at: usize) {
    for (below, above) in bed.iter_mut().skip(at).zip(sound) {
        *below += above;
    }
}

/// Channels side by side, as long as the shortest of them.
pub fn interleave(channels: &[&[f32]]) -> Vec<f32> {
    let instants = channels.iter().map(|c| c.len()).min().unwrap_or(0);
    (0..instants).flat_map(|n| channels.iter().filter_map(move |c| c.get(n).copied())).collect()
}

/// Single precision is what samples are.
#[expect(clippy::cast_possible_truncation, reason = "the nearest f32 is what is wanted")]
fn narrow(sample: f64) -> f32 {
    sample as f32
}

/// A [`Source`] over samples in memory.
#[derive(Debug, Clone)]
pub struct Samples {
    format: SoundFormat,
    interleaved: Vec<f32>,
    /// Instants per block, taken in turn, none of them 0.
    lengths: Vec<usize>,
    blocks_given: usize,
    /// Samples given.
    at: usize,
}

/// Block length where none is chosen.
const USUAL_BLOCK: usize = 1024;

impl Samples {
    /// `None` unless there is at least one channel and a whole number of instants.
    pub fn new(rate_hz: u32, channels: u16, interleaved: Vec<f32>) -> Option<Self> {
        SampleBlock::new(&interleaved, channels)?;
        let format = SoundFormat { rate_hz, channels };
        Some(Self { format, interleaved, lengths: vec![USUAL_BLOCK], blocks_given: 0, at: 0 })
    }

    /// One channel.
    pub fn mono(rate_hz: u32, samples: Vec<f32>) -> Self {
        let format = SoundFormat { rate_hz, channels: 1 };
        let lengths = vec![USUAL_BLOCK];
        Self { format, interleaved: samples, lengths, blocks_given: 0, at: 0 }
    }

    /// The same sound in blocks of these lengths (instants), taken in turn and over again. Lengths
    /// of 0 count as 1; none at all leaves the usual 1024.
    #[must_use]
    pub fn in_blocks(mut self, lengths: &[usize]) -> Self {
        if !lengths.is_empty() {
            self.lengths = lengths.iter().map(|&length| length.max(1)).collect();
        }
        self
    }

    /// All samples, whatever was given already.
    pub fn interleaved(&self) -> &[f32] {
        &self.interleaved
    }
}

impl Source for Samples {
    fn format(&self) -> SoundFormat {
        self.format
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let turn = self.blocks_given % self.lengths.len().max(1);
        let length = self.lengths.get(turn).copied().unwrap_or(USUAL_BLOCK);
        let rest = self.interleaved.get(self.at..).unwrap_or_default();
        let samples = length.saturating_mul(usize::from(self.format.channels)).min(rest.len());
        self.blocks_given += 1;
        self.at += samples;
        if samples == 0 {
            return Ok(None);
        }
        Ok(rest.get(..samples).and_then(|block| SampleBlock::new(block, self.format.channels)))
    }

    fn expected_instants(&self) -> Option<u64> {
        let rest = self.interleaved.len().saturating_sub(self.at);
        u64::try_from(rest / usize::from(self.format.channels.max(1))).ok()
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;
    use crate::audio::collect;

    #[test]
    fn a_sine_has_its_peak_its_power_and_no_drift() {
        let tone = sine(48_000, 1_000.0, 0.5, 480_000);
        let power = tone.iter().map(|&x| f64::from(x) * f64::from(x)).sum::<f64>() / 480_000.0;
        assert!((power - 0.125).abs() < 1e-6);
        assert_eq!(tone[12], 0.5);
        assert_eq!(tone[..48], tone[479_952..]);
    }

    #[test]
    fn clicks_and_mixes_land_where_they_are_told() {
        let mut bed = click(3, 0.5, 6);
        mix_in(&mut bed, &[0.25, 0.25, 0.25], 4);
        assert_eq!(bed, [0.0, 0.0, 0.0, 0.5, 0.25, 0.25]);
        assert_eq!(click(9, 1.0, 3), silence(3));
        assert_eq!(interleave(&[&[1.0, 2.0, 3.0], &[4.0, 5.0]]), [1.0, 4.0, 2.0, 5.0]);
    }

    #[test]
    fn seeds_make_noise_and_only_seeds() {
        assert_eq!(white_noise(1, 1.0, 100), white_noise(1, 1.0, 100));
        assert_ne!(white_noise(1, 1.0, 100), white_noise(2, 1.0, 100));
        assert_eq!(pink_noise(1, 0.1, 100), pink_noise(1, 0.1, 100));
        assert!(white_noise(3, 0.5, 10_000).iter().all(|x| x.abs() <= 0.5));
    }

    #[test]
    fn a_source_gives_everything_once_in_the_asked_for_lengths() {
        let sound = white_noise(1, 1.0, 200);
        let mut source = Samples::new(8_000, 2, sound.clone()).unwrap().in_blocks(&[1, 0, 7, 60]);
        assert_eq!(source.expected_instants(), Some(100));
        let mut lengths = Vec::new();
        let mut heard = Vec::new();
        while let Some(block) = source.next_block().unwrap() {
            lengths.push(block.instants());
            heard.extend_from_slice(block.interleaved());
        }
        assert_eq!(lengths, [1, 1, 7, 60, 1, 1, 7, 22]);
        assert_eq!(heard, sound);
        assert!(source.next_block().unwrap().is_none());
        assert!(collect(&mut source).unwrap().is_empty());
        assert!(Samples::new(8_000, 2, vec![0.0; 3]).is_none());
        assert!(Samples::new(8_000, 0, vec![]).is_none());
    }
}
