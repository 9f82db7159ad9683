//! What stands out of a band: its level above all that is always there, and how it has risen.
//!
//! A band's power is held against a reference made of its own lowest recent level (steady noise,
//! hum and held tones sink in it), its own slowly followed top, the top of the whole sound, and a
//! fixed level near the noise of 16 bits. What is left is independent of how loud the recording is.
//! What rings on between strokes sinks in the reference too; how far a band falls below its top tells
//! of it all the same.
//! The lowest of a stretch of smoothed powers as a measure of steady noise: R. Martin, "Noise power
//! spectral density estimation based on optimal smoothing and minimum statistics", IEEE
//! Transactions on Speech and Audio Processing 9(5), 2001.
//!
//! The rise is taken against the highest of the band and its neighbours a little earlier, so that
//! a partial that wanders between bands (vibrato, a glide) is not taken for a new one: S. Bock and
//! G. Widmer, "Maximum filter vibrato suppression for onset detection", DAFx 2013.

#![expect(clippy::indexing_slicing, reason = "all rows have the length set in the constructor")]

use super::LOOKS_PER_S;

/// Time constant of the smoothing under the lowest level.
const SMOOTH_S: f32 = 0.1;
/// The lowest level is that of the last `BLOCKS` blocks.
const BLOCKS: usize = 6;
const BLOCK_LOOKS: usize = 62;
/// Time constant with which tops are forgotten.
const TOP_S: f32 = 8.0;
/// Shares of the reference.
const OF_LOWEST: f32 = 2.0;
const OF_BAND_TOP: f32 = 1e-5;
const OF_WHOLE_TOP: f32 = 1e-7;
/// Power of a full-scale sine is 1: -97 dBFS.
const FIXED: f32 = 2e-10;

/// Which bands of a row are read together, and against what.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// First band of each group and, last, the number of bands.
    pub(super) groups: Vec<usize>,
    /// Looks back to what a rise is taken against.
    pub(super) lag: usize,
    /// Whether neighbours count in it (narrow bands only).
    pub(super) neighbours: bool,
}

/// One row of bands over time.
pub(super) struct Relief {
    row: Row,
    smooth: Vec<f32>,
    /// Lowest of each past block, block by block, and of the current one.
    blocks: Vec<f32>,
    lowest_now: Vec<f32>,
    looks: usize,
    tops: Vec<f32>,
    /// Levels of the last `lag` looks, as a ring.
    past: Vec<f32>,
    at: usize,
    level: Vec<f32>,
    /// Power of each band now.
    power: Vec<f32>,
    /// How far that is below the band's own top, in nepers of power.
    below: Vec<f32>,
}

/// Numbers that a group gives: mean rise, highest rise, mean level, mean depth below the top, and how
/// far its strongest band stands over their mean.
pub(in crate::analysis) const PER_GROUP: usize = 5;
/// No band is further below its top than this, in nepers of power.
const DEEPEST: f32 = 16.0;

/// Coefficients at the rate of looks.
fn per_look(seconds: f32) -> f32 {
    libm::expf(-1.0 / (seconds * f32::from(LOOKS_PER_S)))
}

impl Relief {
    pub(super) fn new(row: Row, bands: usize) -> Self {
        let past = vec![0.0; bands * row.lag];
        Self {
            row,
            smooth: vec![0.0; bands],
            blocks: vec![0.0; bands * BLOCKS],
            lowest_now: vec![f32::MAX; bands],
            looks: 0,
            tops: vec![0.0; bands],
            past,
            at: 0,
            level: vec![0.0; bands],
            power: vec![0.0; bands],
            below: vec![0.0; bands],
        }
    }

    /// How many numbers [`Relief::read`] writes.
    pub(super) fn size(&self) -> usize {
        PER_GROUP * (self.row.groups.len() - 1)
    }

    /// Takes the powers of one look in. `whole_top` is the slowly followed top of the whole sound.
    pub(super) fn take(&mut self, powers: &[f32], whole_top: f32) {
        let (keep, forget) = (per_look(SMOOTH_S), per_look(TOP_S));
        let bands = powers.len();
        for (band, &power) in powers.iter().enumerate() {
            let smooth = power + (self.smooth[band] - power) * keep;
            self.smooth[band] = smooth;
            self.lowest_now[band] = self.lowest_now[band].min(smooth);
            let past = (0..BLOCKS).map(|block| self.blocks[block * bands + band]);
            let lowest = past.fold(self.lowest_now[band], f32::min);
            self.tops[band] = power.max(self.tops[band] * forget);
            let reference = OF_LOWEST * lowest
                + OF_BAND_TOP * self.tops[band]
                + OF_WHOLE_TOP * whole_top
                + FIXED;
            self.level[band] = libm::logf(1.0 + power / reference);
            self.power[band] = power;
            let top = self.tops[band] + FIXED;
            self.below[band] = libm::logf(top / (power + FIXED)).min(DEEPEST);
        }
        self.looks += 1;
        if self.looks.is_multiple_of(BLOCK_LOOKS) {
            let block = self.looks / BLOCK_LOOKS % BLOCKS * bands;
            self.blocks[block..block + bands].copy_from_slice(&self.lowest_now);
            self.lowest_now.fill(f32::MAX);
        }
    }

    /// Writes the numbers of each group (see [`PER_GROUP`]); keeps the levels for later.
    pub(super) fn read(&mut self, out: &mut [f32]) {
        let bands = self.level.len();
        let old = self.at * bands;
        let before = &self.past[old..old + bands];
        for (group, out) in out.chunks_exact_mut(PER_GROUP).enumerate() {
            let (first, end) = (self.row.groups[group], self.row.groups[group + 1]);
            let (mut sum, mut most, mut level) = (0.0_f32, 0.0_f32, 0.0_f32);
            let (mut below, mut powers, mut strongest) = (0.0_f32, 0.0_f32, 0.0_f32);
            for band in first..end {
                let mut was = before[band];
                if self.row.neighbours {
                    was = was.max(before[band.saturating_sub(1)]);
                    was = was.max(before[(band + 1).min(bands - 1)]);
                }
                let rise = (self.level[band] - was).max(0.0);
                sum += rise;
                most = most.max(rise);
                level += self.level[band];
                below += self.below[band];
                powers += self.power[band] + FIXED;
                strongest = strongest.max(self.power[band] + FIXED);
            }
            let count = (end - first) as f32;
            let crest = libm::logf(count * strongest / powers);
            out.copy_from_slice(&[sum / count, most, level / count, below / count, crest]);
        }
        self.past[old..old + bands].copy_from_slice(&self.level);
        self.at = (self.at + 1) % self.row.lag;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    /// Two looks at two bands that form one group, the second quieter: 20 dB below its top is
    /// ln(100) nepers of power; of powers 1 and 3 the stronger stands ln(3 / 2) over their mean.
    #[test]
    fn depth_and_crest_worked_by_hand() {
        let row = Row { groups: vec![0, 2], lag: 2, neighbours: false };
        let mut relief = Relief::new(row, 2);
        let mut out = [0.0; PER_GROUP];
        relief.take(&[0.1, 0.3], 0.0);
        relief.read(&mut out);
        let [.., below, crest] = out;
        assert!(below.abs() < 1e-5, "at its top: {below}");
        assert!((crest - libm::logf(1.5)).abs() < 1e-5, "{crest}");
        relief.take(&[0.001, 0.003], 0.0);
        relief.read(&mut out);
        let [.., below, crest] = out;
        // Tops are forgotten by 1/2000 a look.
        assert!((below - libm::logf(100.0)).abs() < 1e-3, "{below}");
        assert!((crest - libm::logf(1.5)).abs() < 1e-5, "{crest}");
        relief.take(&[0.0, 0.0], 0.0);
        relief.read(&mut out);
        assert!(out.iter().all(|number| number.is_finite()) && *out.get(3).unwrap() <= DEEPEST);
    }
}
