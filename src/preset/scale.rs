//! Octave and third-octave bands by their nominal frequency.
//!
//! The base-ten system of IEC 61260-1:2014: octave ratio G = 10^(3/10), exact centre
//! 1000 Hz * G^(x/b), edges a factor G^(1/(2b)) below and above, b = 1 for octaves, 3 for thirds.

use serde::Serialize;

/// A standard set of bands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// Bands an octave wide.
    Octave,
    /// Bands a third of an octave wide.
    ThirdOctave,
}

/// Nominal centres, Hz, as in IEC 61260-1:2014 and ISO 266 (from memory).
const OCTAVES_HZ: [f64; 10] =
    [31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0];
/// Number of the first octave, counted from 1 kHz.
const FIRST_OCTAVE: f64 = -5.0;

/// Nominal centres, Hz, as in IEC 61260-1:2014 and ISO 266 (from memory).
const THIRDS_HZ: [f64; 30] = [
    25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0,
    630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0,
    10000.0, 12500.0, 16000.0, 20000.0,
];
/// Number of the first third, counted from 1 kHz.
const FIRST_THIRD: f64 = -16.0;

impl Scale {
    /// Nominal centres, low to high, Hz.
    pub fn nominal_hz(self) -> &'static [f64] {
        match self {
            Self::Octave => &OCTAVES_HZ,
            Self::ThirdOctave => &THIRDS_HZ,
        }
    }

    /// Position of a nominal centre within [`Scale::nominal_hz`].
    pub fn position(self, nominal_hz: f64) -> Option<usize> {
        self.nominal_hz().iter().position(|&known| known.total_cmp(&nominal_hz).is_eq())
    }

    /// Lower and upper edge of the band at `position`, Hz.
    pub fn edges_hz(self, position: usize) -> (f64, f64) {
        let (first, per_octave) = match self {
            Self::Octave => (FIRST_OCTAVE, 1.0),
            Self::ThirdOctave => (FIRST_THIRD, 3.0),
        };
        // log10 of the edge over 1 kHz: adjacent bands share it to the last bit.
        let decades = |half: f64| 0.3 * (first + position as f64 + half) / per_octave;
        let edge = |half: f64| 1000.0 * libm::pow(10.0, decades(half));
        (edge(-0.5), edge(0.5))
    }

    /// The nominal centre closest to `hz` as a ratio.
    pub fn closest_hz(self, hz: f64) -> f64 {
        let distance = |nominal: f64| libm::fabs(libm::log(nominal / hz));
        let all = self.nominal_hz().iter().copied();
        all.min_by(|a, b| distance(*a).total_cmp(&distance(*b))).unwrap_or(1000.0)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    /// Worked figures of the base-ten system, IEC 61260-1:2014 (centre 1 kHz and its edges).
    #[test]
    fn bands_at_one_kilohertz_match_the_standard() {
        let close = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-7, "{got} {want}");
        let third = Scale::ThirdOctave.edges_hz(Scale::ThirdOctave.position(1000.0).unwrap());
        close(third.0, 891.2509381);
        close(third.1, 1122.0184543);
        let octave = Scale::Octave.edges_hz(Scale::Octave.position(1000.0).unwrap());
        close(octave.0, 707.9457844);
        close(octave.1, 1412.5375446);
    }

    /// The nominal value is the exact centre rounded: within 2 % of it (31.5 for 31.62).
    #[test]
    fn every_nominal_name_lies_in_the_middle_of_its_band() {
        for scale in [Scale::Octave, Scale::ThirdOctave] {
            for (position, nominal) in scale.nominal_hz().iter().enumerate() {
                let (low, high) = scale.edges_hz(position);
                let off = (low * high).sqrt() / nominal - 1.0;
                assert!(off.abs() < 0.02, "{nominal} Hz lies {off} off its centre");
            }
        }
    }

    #[test]
    fn neighbours_share_their_edge_exactly() {
        for scale in [Scale::Octave, Scale::ThirdOctave] {
            for position in 1..scale.nominal_hz().len() {
                let (below, here) = (scale.edges_hz(position - 1), scale.edges_hz(position));
                assert_eq!(below.1.to_bits(), here.0.to_bits());
            }
        }
    }
}
