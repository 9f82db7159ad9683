//! What a band makes of the powers of its bins: their sum, each by how much it counts.

use super::Weighting;
use super::bands::Piece;
use super::ladder::Rates;
use crate::units::Hertz;

/// A stretch of the bin axis on which bin k covers k - 1/2 to k + 1/2. As only positive
/// frequencies are counted, and counted double, half of bin 0 and half of the last bin is right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BinRange {
    pub(super) first: usize,
    pub(super) last: usize,
    low: f64,
    first_weight: f64,
    last_weight: f64,
}

impl BinRange {
    /// Edges in bins, not negative, the upper above the lower.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "bins are counted in hundreds and not negative"
    )]
    pub(super) fn new(low: f64, high: f64) -> Self {
        let (first, last) = ((low + 0.5).floor(), (high + 0.5).floor());
        let (first_weight, last_weight) =
            if first < last { (first + 0.5 - low, high + 0.5 - last) } else { (high - low, 0.0) };
        Self { first: first as usize, last: last as usize, low, first_weight, last_weight }
    }

    /// The part of a piece that lies within the sound; `None` when nothing does.
    pub(super) fn of_piece(rates: Rates, piece: &Piece, fft_len: usize) -> Option<Self> {
        let bin = fft_len as f64 / rates.rate_hz(piece.view.level);
        let (low, high) = (piece.low_hz, piece.high_hz.min(rates.limit_hz()));
        (low < high).then(|| Self::new(low * bin, high * bin))
    }

    /// How much of bin `k` belongs to the stretch.
    pub(super) fn weight(&self, k: usize) -> f64 {
        if k == self.first {
            self.first_weight
        } else if k == self.last {
            self.last_weight
        } else if k > self.first && k < self.last {
            1.0
        } else {
            0.0
        }
    }

    /// Middle of the part of bin `k` that belongs to the stretch, in bins.
    pub(super) fn middle(&self, k: usize) -> f64 {
        let centre = k as f64;
        if self.first == self.last {
            self.low + 0.5 * self.first_weight
        } else if k == self.first {
            centre + 0.5 - 0.5 * self.first_weight
        } else if k == self.last {
            centre - 0.5 + 0.5 * self.last_weight
        } else {
            centre
        }
    }

    /// Sum of `powers` (bin 0 first) over the stretch.
    pub(super) fn sum(&self, powers: &[f32]) -> f64 {
        let run = powers.get(self.first..=self.last).unwrap_or_default();
        let inner = run.get(1..run.len().saturating_sub(1)).unwrap_or_default();
        let end = |power: Option<&f32>| power.map_or(0.0, |&power| f64::from(power));
        end(run.first()) * self.first_weight
            + end(run.last()) * self.last_weight
            + inner.iter().map(|&power| f64::from(power)).sum::<f64>()
    }
}

/// A stretch of bins and what each of them counts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tally {
    range: BinRange,
    /// Per bin of the stretch: the share of it that belongs to the band times its weight. Empty
    /// where all frequencies count the same.
    factors: Vec<f64>,
}

impl Tally {
    /// Bins are `bin_hz` apart.
    ///
    /// The weight is taken at each bin rather than once for the band, so that a band over many
    /// octaves weighs every tone in it by the tone's own frequency.
    pub(super) fn new(range: BinRange, bin_hz: f64, piece: &Piece, weighting: Weighting) -> Self {
        let factor = |bin| {
            let middle_hz = range.middle(bin) * bin_hz;
            range.weight(bin) * piece.share(middle_hz) * weighting.power(Hertz(middle_hz))
        };
        let factors = match weighting {
            Weighting::None => Vec::new(),
            Weighting::A | Weighting::Frequency => (range.first..=range.last).map(factor).collect(),
        };
        Self { range, factors }
    }

    /// Sum over `powers`, bin 0 first.
    pub(super) fn of(&self, powers: &[f32]) -> f64 {
        if self.factors.is_empty() {
            return self.range.sum(powers);
        }
        let run = powers.get(self.range.first..).unwrap_or_default();
        run.iter().zip(&self.factors).map(|(&power, factor)| f64::from(power) * factor).sum()
    }
}
