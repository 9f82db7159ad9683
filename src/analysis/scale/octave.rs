//! Octave and third-octave bands, base-10 system, each called by a round frequency.
//!
//! Source: IEC 61260-1:2014, octave ratio G = 10^(3/10), mid-band frequencies 1000 G^(x/b) Hz,
//! edges at G^(-1/2b) and G^(+1/2b) of them; nominal frequencies as in ISO 266. A band's upper
//! edge is the next band's lower edge. (Base-2 bands differ by a quarter of a percent an octave:
//! the two are not to be mixed.)

use serde::Serialize;

use crate::units::Hertz;

/// Width of the bands of a scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// One band an octave.
    Octave,
    /// Three bands an octave.
    ThirdOctave,
}

/// A band of a scale: exact figures, and the round number it is called by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleBand {
    /// The name: 31.5, 63, 125...
    pub nominal_hz: f64,
    /// Exact mid-band frequency.
    pub mid_hz: Hertz,
    /// Exact lower edge.
    pub low_hz: Hertz,
    /// Exact upper edge.
    pub high_hz: Hertz,
}

/// Nominal mid-band frequencies of the octave bands, Hz; the first is band -6.
const OCTAVES: [f64; 11] =
    [16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16_000.0];

/// Nominal mid-band frequencies of the third-octave bands, Hz; the first is band -20.
#[rustfmt::skip]
const THIRDS: [f64; 34] = [
    10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0,
    100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0,
    1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0,
    10_000.0, 12_500.0, 16_000.0, 20_000.0,
];

impl Scale {
    /// The nominal frequencies that name a band, low to high, Hz: what an error message can list.
    pub fn nominals(self) -> &'static [f64] {
        match self {
            Self::Octave => &OCTAVES,
            Self::ThirdOctave => &THIRDS,
        }
    }

    /// Bands per octave.
    fn per_octave(self) -> f64 {
        match self {
            Self::Octave => 1.0,
            Self::ThirdOctave => 3.0,
        }
    }

    /// Band number, 0 at 1 kHz, of the first of [`Scale::nominals`].
    fn first_index(self) -> i32 {
        match self {
            Self::Octave => -6,
            Self::ThirdOctave => -20,
        }
    }

    /// The band called by this nominal frequency; `None` when no band is.
    pub fn band(self, nominal_hz: f64) -> Option<ScaleBand> {
        let same = |known: &f64| (known - nominal_hz).abs() < 1e-6 * known;
        let place = self.nominals().iter().position(same)?;
        self.band_at(self.first_index() + i32::try_from(place).ok()?)
    }

    /// The nominal frequency nearest to `hz` as a ratio.
    pub fn nearest(self, hz: f64) -> f64 {
        let distance = |nominal: f64| libm::fabs(libm::log(nominal / hz));
        let all = self.nominals().iter().copied();
        all.min_by(|a, b| distance(*a).total_cmp(&distance(*b))).unwrap_or(1000.0)
    }

    /// The band with this number, 0 at 1 kHz; `None` outside the nominal frequencies.
    pub fn band_at(self, index: i32) -> Option<ScaleBand> {
        let place = usize::try_from(index - self.first_index()).ok()?;
        let nominal_hz = *self.nominals().get(place)?;
        let octaves = |steps: f64| Hertz(1000.0 * libm::pow(10.0, 0.3 * steps / self.per_octave()));
        let x = f64::from(index);
        Some(ScaleBand {
            nominal_hz,
            mid_hz: octaves(x),
            low_hz: octaves(x - 0.5),
            high_hz: octaves(x + 0.5),
        })
    }

    /// All bands from one nominal frequency to another, both included; empty when either is
    /// unknown or they are in the wrong order.
    pub fn bands(self, first_nominal_hz: f64, last_nominal_hz: f64) -> Vec<ScaleBand> {
        let known = |nominal_hz| self.band(nominal_hz).is_some();
        if !known(first_nominal_hz) || !known(last_nominal_hz) {
            return Vec::new();
        }
        let wanted = |nominal: &&f64| {
            (first_nominal_hz * 0.999_999..=last_nominal_hz * 1.000_001).contains(*nominal)
        };
        self.nominals().iter().filter(wanted).filter_map(|nominal| self.band(*nominal)).collect()
    }
}
