//! What a mapping says, resolved: the settings of [`Mapper`](super::Mapper), checked when it is built.

use crate::units::{CoilId, Millimetres, Rate, Seconds};

/// Place of a coil on the display front, seen from the viewer: x to the right, y up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// To the right.
    pub x_mm: Millimetres,
    /// Up.
    pub y_mm: Millimetres,
}

/// How a level in dB becomes 0..1 before the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RangeShape {
    /// Against the slowly followed top of the band's own range: quiet and loud recordings both
    /// use the whole motion. 0 dB is the followed top.
    Follow {
        /// Level that reads 0, dB below the top (negative).
        floor_db: f64,
        /// Level that reads 1, dB relative to the top, above `floor_db`.
        full_db: f64,
    },
    /// Against fixed levels.
    Fixed {
        /// Level that reads 0.
        floor_dbfs: f64,
        /// Level that reads 1, above `floor_dbfs`.
        full_dbfs: f64,
    },
}

/// How 0..1 bends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Curve {
    /// As it is.
    Straight,
    /// x to this power, 0.1 to 10: above 1 holds back the soft, below 1 brings it up.
    Power(f64),
    /// Slow at both ends: x*x*(3 - 2x).
    Soft,
}

/// How a route's value follows in time. Time constants reach 63 % of a step; each 0 to 60 s.
///
/// The highest value heard within the last `hold_s` is what the route moves towards, at the pace of
/// `attack_s` while it is above, of `release_s` while it is below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EnvelopeSettings {
    /// Rising; 0 follows at once.
    pub attack_s: Seconds,
    /// Falling, after the hold.
    pub release_s: Seconds,
    /// How long a peak stays before it falls, in whole frames, rounded up.
    pub hold_s: Seconds,
}

/// What a route moves, in the coils of its group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MotionSettings {
    /// All coils together. Needs one band.
    LevelAll,
    /// A front that rises along an axis as far as the level reaches. Needs one band.
    Column {
        /// Direction of rising, degrees counter-clockwise from right (90 = up).
        towards_deg: f64,
        /// Width over which the front goes from full to nothing. Taken as at least a thousandth of
        /// the group's extent, so that a coil never jumps.
        edge_mm: Millimetres,
    },
    /// Bands laid out along an axis, each coil moved by the bands at its place. Needs two or more.
    Along {
        /// Direction from the first to the last band, degrees counter-clockwise from right.
        towards_deg: f64,
    },
}

/// One route, resolved: no names, no options.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteSettings {
    /// Indices into the analysis' bands, low to high.
    pub bands: Vec<usize>,
    /// Level to 0..1.
    pub range: RangeShape,
    /// 0..1 to 0..1.
    pub curve: Curve,
    /// In time.
    pub envelope: EnvelopeSettings,
    /// Over the coils.
    pub motion: MotionSettings,
    /// Coils of the group, at least one, each at most once.
    pub coils: Vec<CoilId>,
    /// Factor on what the route asks for, -1 to 1 (negative pushes the other way).
    pub weight: f64,
}

/// How routes that reach the same coil are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Combine {
    /// The wish of largest size wins; of equals, the earlier route.
    #[default]
    Max,
    /// Wishes add up; the total saturates at -1 and 1.
    Add,
}

/// Everything [`Mapper`](super::Mapper) must know.
#[derive(Debug, Clone, PartialEq)]
pub struct MapperSettings {
    /// How often it is asked.
    pub frame_rate: Rate,
    /// Every coil's place, in display order.
    pub places: Vec<Place>,
    /// Routes in the order in which they were written.
    pub routes: Vec<RouteSettings>,
    /// Overlaps.
    pub combine: Combine,
    /// Time constant with which wishes fade to rest when nothing plays.
    pub rest_s: Seconds,
}
