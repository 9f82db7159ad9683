//! One route of a mapping: what it hears, how it follows, what it moves.

use serde::Serialize;

use super::ears;
use super::finding::At;
use crate::analysis::scale::{Scale, ScaleBand, Warped, bark};
use crate::analysis::{Channel, Weighting};
use crate::units::Seconds;

/// A route as written, defaults filled in.
#[derive(Debug, Clone, Serialize)]
pub struct Route {
    /// Unlike every other route's.
    pub name: At<String>,
    /// Part of the sound; default all of it.
    pub channel: Channel,
    /// What each frequency counts; default all the same.
    #[serde(skip_serializing_if = "Weighting::is_none")]
    pub weighting: Weighting,
    /// Bands.
    pub hears: At<Hears>,
    /// Level to 0..1; default follows, -24 to 0 dB.
    pub range: Range,
    /// 0..1 to 0..1; default straight.
    pub curve: Curve,
    /// Time constant of rising, ms; default 5.
    pub attack_ms: f64,
    /// How long a peak stays, ms; default 60.
    pub hold_ms: f64,
    /// Time constant of falling, ms; default 180.
    pub release_ms: f64,
    /// Over the coils.
    pub moves: Moves,
    /// Factor on what the route asks for, -1 to 1; default 1.
    pub weight: At<f64>,
    /// Where routes lie over each other, higher covers lower, and of equals the later one covers;
    /// default 0.
    pub priority: At<u32>,
}

/// Which bands a route hears.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Hears {
    /// One band between two edges.
    Band {
        /// Lower edge.
        low_hz: f64,
        /// Upper edge.
        high_hz: f64,
    },
    /// One band of a standard scale.
    ScaleBand {
        /// The scale.
        scale: Scale,
        /// Nominal centre.
        nominal_hz: f64,
    },
    /// Neighbouring bands of a standard scale.
    Bands {
        /// The scale.
        scale: Scale,
        /// Nominal centre of the lowest.
        from_hz: f64,
        /// Nominal centre of the highest.
        to_hz: f64,
    },
    /// One band of the Bark scale.
    BarkBand {
        /// Its number, 1 to 24.
        band: u32,
    },
    /// Neighbouring bands of the Bark scale.
    BarkBands {
        /// Number of the lowest.
        from_band: u32,
        /// Number of the highest, above the lowest.
        to_band: u32,
    },
    /// Neighbouring bands of equal width on a stretched axis.
    WarpedBands {
        /// The axis.
        scale: Warped,
        /// Lower edge of the lowest.
        from_hz: f64,
        /// Upper edge of the highest.
        to_hz: f64,
        /// How many; on the ERB scale no more than make them one unit wide.
        count: u32,
    },
    /// Neighbouring bands between explicit edges, rising.
    Edges {
        /// Each band reaches from one to the next.
        hz: Vec<f64>,
    },
    /// Events in the whole sound.
    Onset {
        /// Which; default any.
        of: Strokes,
        /// How far one moves; default [`Size::Level`].
        size: Size,
    },
    /// What begins within a band.
    OnsetInBand {
        /// Lower edge.
        low_hz: f64,
        /// Upper edge.
        high_hz: f64,
        /// As for [`Hears::Onset`].
        size: Size,
    },
    /// The beat, foretold.
    Beat {
        /// How much earlier it is told; left out: by the fluid's lag.
        lead_ms: Option<f64>,
        /// Least confidence.
        sure: f64,
    },
    /// Full at the beat, falling to nothing until the next.
    BeatPhase {
        /// How much earlier; left out: by the fluid's lag.
        lead_ms: Option<f64>,
        /// Least confidence.
        sure: f64,
    },
    /// Where the middle of the spectrum lies, between two frequencies.
    Brightness {
        /// Reads 0.
        low_hz: f64,
        /// Reads 1.
        high_hz: f64,
    },
    /// Loudness against what is usual in the music.
    Loudness {
        /// How long it is measured; default [`Window::Momentary`].
        over: Window,
    },
}

/// Which events a route hears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Strokes {
    /// All that begins.
    Any,
    /// Kicks.
    Kick,
    /// Snares, rims, claps.
    Snare,
    /// Hi-hats.
    Hat,
}

/// How far an event moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Size {
    /// As far as its level reaches.
    Level,
    /// All alike.
    Even,
}

/// How long loudness is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Window {
    /// 0.4 s.
    Momentary,
    /// 3 s.
    ShortTerm,
}

impl Hears {
    /// Lower and upper edge of each band, low to high, Hz.
    pub fn bands_hz(&self) -> Vec<(f64, f64)> {
        let edges = |band: &ScaleBand| (band.low_hz.0, band.high_hz.0);
        match self {
            Self::Band { low_hz, high_hz } => vec![(*low_hz, *high_hz)],
            Self::ScaleBand { scale, nominal_hz } => {
                scale.band(*nominal_hz).iter().map(edges).collect()
            }
            Self::Bands { scale, from_hz, to_hz } => {
                scale.bands(*from_hz, *to_hz).iter().map(edges).collect()
            }
            Self::BarkBand { band } => bark_bands(*band, *band),
            Self::BarkBands { from_band, to_band } => bark_bands(*from_band, *to_band),
            Self::WarpedBands { scale, from_hz, to_hz, count } => {
                adjoining(&scale.edges_hz((*from_hz, *to_hz), *count as usize))
            }
            Self::Edges { hz } => adjoining(hz),
            Self::Onset { of, size: Size::Level } => vec![ears::band_of(*of)],
            Self::OnsetInBand { low_hz, high_hz, size: Size::Level } => vec![(*low_hz, *high_hz)],
            Self::Onset { .. }
            | Self::OnsetInBand { .. }
            | Self::Beat { .. }
            | Self::BeatPhase { .. }
            | Self::Brightness { .. }
            | Self::Loudness { .. } => Vec::new(),
        }
    }

    /// Whether it follows levels of bands, and not events or other qualities of the whole sound.
    pub fn follows_levels(&self) -> bool {
        ears::request(self, Seconds(0.0)).is_none()
    }

    /// How many values it gives a motion.
    pub fn values(&self) -> usize {
        if self.follows_levels() { self.bands_hz().len() } else { 1 }
    }

    /// Whether the edges come from a scale over many bands, of which no single one was asked for:
    /// a band that is too narrow to be told apart is then heard wider rather than refused.
    pub fn may_widen(&self) -> bool {
        match self {
            Self::Bands { .. } | Self::BarkBands { .. } | Self::WarpedBands { .. } => true,
            Self::Band { .. }
            | Self::ScaleBand { .. }
            | Self::BarkBand { .. }
            | Self::Edges { .. }
            | Self::Onset { .. }
            | Self::OnsetInBand { .. }
            | Self::Beat { .. }
            | Self::BeatPhase { .. }
            | Self::Brightness { .. }
            | Self::Loudness { .. } => false,
        }
    }
}

fn adjoining(edges: &[f64]) -> Vec<(f64, f64)> {
    edges.iter().copied().zip(edges.iter().copied().skip(1)).collect()
}

fn bark_bands(from: u32, to: u32) -> Vec<(f64, f64)> {
    let bands = (from..=to).filter_map(|number| bark::band(number as usize));
    bands.map(|(low, high)| (low.0, high.0)).collect()
}

/// How a level becomes 0..1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Range {
    /// Against the top of what the band did lately.
    Follow {
        /// Reads 0.
        floor_db: f64,
        /// Reads 1.
        full_db: f64,
    },
    /// Against fixed levels.
    Fixed {
        /// Reads 0.
        floor_dbfs: f64,
        /// Reads 1.
        full_dbfs: f64,
    },
}

/// How 0..1 bends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Curve {
    /// Not at all.
    Straight,
    /// Slow at both ends.
    Soft,
    /// To a power.
    Power {
        /// Above 1 holds back the soft, below 1 brings it up.
        exponent: f64,
    },
}

/// What a route moves.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Moves {
    /// A group together; hears one band.
    LevelAll {
        /// Name of a group, or `all`.
        group: At<String>,
    },
    /// A front along an axis; hears one band.
    Column {
        /// Name of a group, or `all`.
        group: At<String>,
        /// Direction of rising, counter-clockwise from right.
        towards_deg: f64,
        /// Width of the front.
        edge_mm: f64,
    },
    /// Bands laid out along an axis; hears two or more.
    Along {
        /// Name of a group, or `all`.
        group: At<String>,
        /// From the lowest to the highest band, counter-clockwise from right.
        towards_deg: f64,
    },
    /// A spot handed on from coil to coil; hears one or more.
    Carry {
        /// Name of a group, or `all`.
        group: At<String>,
        /// The way it takes.
        path: Path,
        /// Width at half the spot's height.
        spot_mm: f64,
        /// The spot's middle goes no faster.
        fastest_mm_per_s: f64,
    },
    /// A front that travels outward from a point; hears one band.
    Outward {
        /// Name of a group, or `all`.
        group: At<String>,
        /// The point; left out, the middle of the group.
        from_mm: Option<[f64; 2]>,
        /// How fast it travels.
        mm_per_s: At<f64>,
        /// Part lost on each metre; default 0.
        fade_per_m: f64,
    },
}

/// The way of a spot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Path {
    /// Around the middle of the group.
    Ring {
        /// Where it begins, counter-clockwise from right; default 90, the top.
        start_deg: f64,
        /// Which way it runs; default true.
        clockwise: bool,
    },
    /// Along an axis.
    Axis {
        /// From the beginning to the end, counter-clockwise from right.
        towards_deg: f64,
    },
}

impl Moves {
    /// The group, with its place in the file.
    pub fn group(&self) -> &At<String> {
        match self {
            Self::LevelAll { group }
            | Self::Column { group, .. }
            | Self::Along { group, .. }
            | Self::Carry { group, .. }
            | Self::Outward { group, .. } => group,
        }
    }
}
