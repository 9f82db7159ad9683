//! Flattened tops: at full scale, or below it where something before the converter was too loud.

use serde::Serialize;

/// Samples in a row at full scale that count as one clipped top. Common practice, no source.
const CLIP_RUN: u32 = 3;

/// From here on a sample counts as at full scale: within half a step of 8 bits.
const FULL_SCALE: f64 = 1.0 - 0.5 / 128.0;

/// Samples in a row that must lie level for a flat top below full scale.
const FLAT_RUN: u32 = 5;

/// Steps inside a flat top are at most this share of the peak so far ...
const FLAT_STEP: f64 = 0.0008;

/// ... while the step into it is at least this: a bass tone's round top has no corner.
const CORNER_STEP: f64 = 0.008;

/// Flat tops this far below the peak are not the ceiling, dB.
const CEILING_DB: f64 = 1.0;

/// Bins of the heights of flat tops, half a decibel each.
const BINS: usize = 64;

/// Tops that were cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Tops {
    /// Tops that reached full scale and stayed there.
    pub at_full_scale: u64,
    /// Flat tops at one ceiling below full scale.
    pub below_full_scale: u64,
}

/// Counts tops of one channel.
#[derive(Debug, Clone)]
pub(super) struct TopCounter {
    peak: f64,
    sum: f64,
    count: u64,
    full_run: u32,
    clipped: u64,
    before: f64,
    flat_run: u32,
    /// True when the present run began with a corner.
    corner: bool,
    /// Flat tops by height.
    heights: [u32; BINS],
}

impl Default for TopCounter {
    fn default() -> Self {
        Self {
            peak: 0.0,
            sum: 0.0,
            count: 0,
            full_run: 0,
            clipped: 0,
            before: 0.0,
            flat_run: 0,
            corner: false,
            heights: [0; BINS],
        }
    }
}

impl TopCounter {
    pub(super) fn push(&mut self, sample: f32) {
        let sample = f64::from(sample);
        let size = sample.abs();
        self.sum += sample;
        self.count += 1;
        self.peak = self.peak.max(size);
        self.full_run = if size >= FULL_SCALE { self.full_run + 1 } else { 0 };
        self.clipped += u64::from(self.full_run == CLIP_RUN);
        self.level(sample);
    }

    /// Follows runs of level samples between two corners.
    fn level(&mut self, sample: f64) {
        let step = (sample - self.before).abs();
        if step <= FLAT_STEP * self.peak && sample.abs() > 0.25 * self.peak {
            self.flat_run += 1;
        } else {
            let left_by_corner = step >= CORNER_STEP * self.peak;
            if self.flat_run >= FLAT_RUN && self.corner && left_by_corner {
                let bin = bin_of(self.before.abs());
                if let Some(count) = self.heights.get_mut(bin) {
                    *count += 1;
                }
            }
            self.corner = left_by_corner;
            self.flat_run = 0;
        }
        self.before = sample;
    }

    pub(super) fn peak(&self) -> f64 {
        self.peak
    }

    /// Size of the mean value, share of full scale.
    pub(super) fn offset(&self) -> f64 {
        if self.count == 0 { 0.0 } else { (self.sum / self.count as f64).abs() }
    }

    /// Flat tops at the ceiling, unless that is full scale.
    fn flat_below(&self) -> u64 {
        if self.peak >= FULL_SCALE {
            return 0;
        }
        let lowest = bin_of(self.peak * libm::pow(10.0, -CEILING_DB / 20.0));
        let highest = bin_of(self.peak);
        let bins = self.heights.get(highest..=lowest).unwrap_or(&[]);
        bins.iter().map(|&count| u64::from(count)).sum()
    }
}

/// All channels together.
pub(super) fn total(channels: &[TopCounter]) -> Tops {
    Tops {
        at_full_scale: channels.iter().map(|channel| channel.clipped).sum(),
        below_full_scale: channels.iter().map(TopCounter::flat_below).sum(),
    }
}

/// Half decibels below full scale.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a level below full scale, capped"
)]
fn bin_of(size: f64) -> usize {
    let below_db = -20.0 * libm::log10(size.max(1e-9));
    ((2.0 * below_db).max(0.0) as usize).min(BINS - 1)
}
