//! Scales on which a band is as wide as hearing makes it: ERB-rate and mel.
//!
//! Any stretch of them can be cut into any number of bands of equal width. The edges are the same
//! points from which banks of overlapping triangular filters are built (n triangles need the edges
//! of n + 1 bands); ours are rectangles that adjoin, so that no tone moves two neighbours at once
//! by more than the window makes it.

use serde::Serialize;

/// A stretched frequency axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Warped {
    /// ERB-rate: one unit is one equivalent rectangular bandwidth of hearing.
    ///
    /// Source: B. R. Glasberg and B. C. J. Moore, "Derivation of auditory filter shapes from
    /// notched-noise data", Hearing Research 47 (1990): 21.4 log10(4.37 f/kHz + 1).
    Erb,
    /// Mel, a scale of pitch: 2595 log10(1 + f/700), as in D. O'Shaughnessy, "Speech Communication:
    /// Human and Machine" (1987) and in most speech work since.
    ///
    /// Of the two forms in use this is the one without a corner at 1 kHz.
    Mel,
}

/// Width of hearing's own filter around `hz`, Hz: 24.7 (4.37 f/kHz + 1), same source as
/// [`Warped::Erb`].
pub fn erb_hz(hz: f64) -> f64 {
    24.7 * (ERB_PER_HZ * hz + 1.0)
}

const ERB_PER_HZ: f64 = 4.37e-3;
const ERB_PER_DECADE: f64 = 21.4;
const MEL_PER_DECADE: f64 = 2595.0;
const MEL_CORNER_HZ: f64 = 700.0;

impl Warped {
    /// Place of a frequency (0 Hz or more) on the scale.
    pub fn from_hz(self, hz: f64) -> f64 {
        match self {
            Self::Erb => ERB_PER_DECADE * libm::log10(ERB_PER_HZ * hz + 1.0),
            Self::Mel => MEL_PER_DECADE * libm::log10(1.0 + hz / MEL_CORNER_HZ),
        }
    }

    /// Frequency at a place of the scale, Hz.
    pub fn to_hz(self, place: f64) -> f64 {
        match self {
            Self::Erb => (libm::pow(10.0, place / ERB_PER_DECADE) - 1.0) / ERB_PER_HZ,
            Self::Mel => MEL_CORNER_HZ * (libm::pow(10.0, place / MEL_PER_DECADE) - 1.0),
        }
    }

    /// The `count` + 1 edges of `count` bands of equal width on the scale, Hz; the first and the
    /// last are the ends as given.
    pub fn edges_hz(self, (from_hz, to_hz): (f64, f64), count: usize) -> Vec<f64> {
        let (from, to) = (self.from_hz(from_hz), self.from_hz(to_hz));
        let inner = |n: usize| self.to_hz(from + (to - from) * n as f64 / count as f64);
        let mut edges = vec![from_hz];
        edges.extend((1..count).map(inner));
        edges.push(to_hz);
        edges
    }

    /// How many units of the scale lie between two frequencies.
    pub fn units_between(self, from_hz: f64, to_hz: f64) -> f64 {
        self.from_hz(to_hz) - self.from_hz(from_hz)
    }
}
