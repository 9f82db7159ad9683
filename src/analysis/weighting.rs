//! Weighting: how much each frequency counts in a level.

use crate::units::Hertz;
use serde::Serialize;

/// What a band's level makes of the frequencies within it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weighting {
    /// All count the same.
    #[default]
    None,
    /// As loud as people find them at moderate level: deep and very high tones count less.
    ///
    /// Source: IEC 61672-1:2013, frequency weighting A. 1 kHz counts in full.
    A,
    /// In proportion to the frequency: over the plain sum it gives the centroid of the spectrum. No
    /// file names it.
    #[serde(skip)]
    Frequency,
}

/// Corner frequencies of the weighting, Hz (from memory; the table in the standard, rounded to
/// 0.1 dB, agrees at all of its frequencies from 10 Hz to 20 kHz).
const F1: f64 = 20.598_997;
const F2: f64 = 107.652_65;
const F3: f64 = 737.862_23;
const F4: f64 = 12_194.217;

impl Weighting {
    /// The word by which files and people call it.
    pub fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::A => "a",
            Self::Frequency => "frequency",
        }
    }

    /// True when all frequencies count the same.
    pub fn is_none(&self) -> bool {
        *self == Self::None
    }

    /// Factor on the power at a frequency; 1 at 1 kHz.
    pub fn power(self, Hertz(hz): Hertz) -> f64 {
        match self {
            Self::None => 1.0,
            Self::Frequency => hz / 1000.0,
            Self::A => {
                let (here, reference) = (a_amplitude(hz), a_amplitude(1000.0));
                here * here / (reference * reference)
            }
        }
    }

    /// The same in dB; minus infinity at 0 Hz with weighting A.
    pub fn db(self, hz: Hertz) -> f64 {
        10.0 * libm::log10(self.power(hz))
    }
}

/// Amplitude before it is brought to 1 at 1 kHz.
fn a_amplitude(hz: f64) -> f64 {
    let square = hz * hz;
    let [s1, s2, s3, s4] = [F1, F2, F3, F4].map(|corner| square + corner * corner);
    F4 * F4 * square * square / (s1 * libm::sqrt(s2 * s3) * s4)
}
