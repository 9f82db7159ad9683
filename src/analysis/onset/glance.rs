//! One short look at the sound: the power in each of a row of adjoining bands.
//!
//! Looks of several lengths are taken at once. A long one tells a soft new note from the ones that
//! still sound, a short one sees a stroke while it happens.

#![expect(clippy::indexing_slicing, reason = "bin ranges are cut to the transform's length here")]

use crate::analysis::inlet::Layout;
use crate::analysis::ladder::{Ladder, Level, Rates};
use crate::analysis::spectrum::Planner;
use crate::analysis::window;
use rustfft::Fft;
use rustfft::num_complex::Complex32;
use std::sync::Arc;

/// How a look is to be taken.
#[derive(Debug, Clone, Copy)]
pub(super) struct Design {
    pub(super) level: Level,
    /// Halves of the window (see [`window::half_hanns`]), in seconds.
    pub(super) rise_s: f64,
    pub(super) fall_s: f64,
    /// First and last edge of the bands.
    pub(super) low_hz: f64,
    pub(super) high_hz: f64,
    /// A band's width: this share of its lower edge, but no less than `least_hz`.
    pub(super) share: f64,
    pub(super) least_hz: f64,
}

impl Design {
    /// Edges of the bands, one more than there are bands.
    pub(super) fn edges_hz(&self) -> Vec<f64> {
        let mut edges = vec![self.low_hz];
        let mut edge = self.low_hz;
        while edge < self.high_hz {
            edge += self.least_hz.max(self.share * edge);
            edges.push(edge.min(self.high_hz));
        }
        edges
    }
}

/// Part of a band's power that a bin carries.
#[derive(Debug, Clone, Copy)]
struct Share {
    bin: usize,
    share: f32,
}

/// A row of bands seen through one window.
pub(super) struct Glance {
    divisions: usize,
    window: Vec<f32>,
    fft: Arc<dyn Fft<f32>>,
    bins: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// Power of both channels of all pairs, per bin.
    powers: Vec<f32>,
    /// Bins of each band; none for bands above the sound.
    bands: Vec<Vec<Share>>,
    /// Turns a sum of bins into a mean square relative to that of a full-scale sine.
    scale: f32,
}

impl Glance {
    pub(super) fn new(
        design: &Design,
        planner: &mut Planner,
        rates: Rates,
        layout: Layout,
    ) -> Self {
        let rate_hz = rates.rate_hz(design.level);
        let samples = |seconds: f64| libm::round(seconds * rate_hz).max(1.0);
        let shape =
            window::half_hanns(whole(samples(design.rise_s)), whole(samples(design.fall_s)));
        let len = shape.len().max(whole(2.0 * rate_hz / design.least_hz)).next_power_of_two();
        let fft = planner.plan(len);
        let limit_hz = rates.limit_hz().min(0.5 * rate_hz);
        let bands = (design.edges_hz().windows(2))
            .map(|edges| shares(edges[0], edges[1].min(limit_hz), rate_hz / len as f64, len / 2))
            .collect();
        // As for every spectrum of this crate: 4 / (length x window energy) makes a full-scale
        // sine 1; both channels of every pair were added up, and both mirror images.
        let energy = len as f64 * window::energy(&shape) * 2.0 * layout.counted() as f64;
        Self {
            divisions: rates.divisions(design.level),
            window: shape.iter().map(|&w| single(w)).collect(),
            bins: vec![Complex32::default(); len],
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            powers: vec![0.0; len / 2],
            bands,
            scale: single(4.0 / energy),
        }
    }

    pub(super) fn divisions(&self) -> usize {
        self.divisions
    }

    /// Instants of sound it looks at.
    pub(super) fn window_len(&self) -> usize {
        self.window.len()
    }

    pub(super) fn bands(&self) -> usize {
        self.bands.len()
    }

    /// Looks at what the ladders hold now; `powers` has one place for each band.
    pub(super) fn look(&mut self, ladders: &[Ladder], powers: &mut [f32]) {
        self.powers.fill(0.0);
        for ladder in ladders {
            self.add_pair(ladder);
        }
        for (power, shares) in powers.iter_mut().zip(&self.bands) {
            let sum: f32 = shares.iter().map(|s| s.share * self.powers[s.bin]).sum();
            *power = sum * self.scale;
        }
    }

    fn add_pair(&mut self, ladder: &Ladder) {
        let sound = ladder.last(self.divisions, self.window.len());
        let (heard, padding) = self.bins.split_at_mut(self.window.len());
        for ((bin, w), pair) in heard.iter_mut().zip(&self.window).zip(sound.chunks_exact(2)) {
            *bin = Complex32::new(w * pair[0], w * pair[1]);
        }
        padding.fill(Complex32::default());
        self.fft.process_with_scratch(&mut self.bins, &mut self.scratch);
        let up = self.bins.iter().skip(1);
        let down = self.bins.iter().rev();
        for ((power, p), q) in self.powers.iter_mut().skip(1).zip(up).zip(down) {
            *power += p.norm_sqr() + q.norm_sqr();
        }
    }
}

/// Bins from `low_hz` to `high_hz` among the first `bins`; bin k reaches half a bin to either side.
fn shares(low_hz: f64, high_hz: f64, bin_hz: f64, bins: usize) -> Vec<Share> {
    if high_hz <= low_hz {
        return Vec::new();
    }
    let (low, high) = (low_hz / bin_hz + 0.5, high_hz / bin_hz + 0.5);
    (whole(low)..=whole(high))
        .map(|bin| {
            let (from, to) = (bin as f64, bin as f64 + 1.0);
            Share { bin, share: single(high.min(to) - low.max(from)) }
        })
        .filter(|share| share.share > 0.0 && (1..bins).contains(&share.bin))
        .collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "positive and far below 2^32"
)]
fn whole(x: f64) -> usize {
    x as usize
}

#[expect(clippy::cast_possible_truncation, reason = "spectra are single precision")]
fn single(x: f64) -> f32 {
    x as f32
}
