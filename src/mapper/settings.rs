//! What a mapping says, resolved: the settings of [`Mapper`](super::Mapper), checked when it is built.

use serde::Serialize;

use crate::units::{CoilId, Millimetres, Rate, Seconds};

/// Place of a coil on the display front, seen from the viewer: x to the right, y up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// To the right.
    pub x_mm: Millimetres,
    /// Up.
    pub y_mm: Millimetres,
}

impl Place {
    /// Mean of several places; the origin for none.
    pub fn middle(places: impl IntoIterator<Item = Self>) -> Self {
        let (mut x, mut y, mut count) = (0.0, 0.0, 0_u32);
        for place in places {
            x += place.x_mm.0;
            y += place.y_mm.0;
            count += 1;
        }
        let count = f64::from(count.max(1));
        Self { x_mm: Millimetres(x / count), y_mm: Millimetres(y / count) }
    }
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

/// A front that arrives later than this has nothing to do with what is heard, s.
pub const LONGEST_FRONT_S: f64 = 10.0;

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
    /// One spot that is handed from coil to coil. Needs one band, whose value says how far along
    /// the path the spot stands and how strong it is, or several, whose balance says where.
    Carry {
        /// The way it takes.
        path: Path,
        /// Width of the spot at half its height. Taken as at least the widest gap between coils,
        /// and at most as long as the path, or half a ring.
        spot_mm: Millimetres,
        /// The middle of the spot goes no faster, 1 to 1e6 mm/s.
        fastest_mm_per_s: f64,
    },
    /// A front that travels outward from a point. Needs one band; what it does reaches each coil
    /// later by the coil's distance over the speed, at most [`LONGEST_FRONT_S`].
    Outward {
        /// Where fronts start.
        from: Place,
        /// How fast they travel, 1 to 1e6 mm/s.
        speed_mm_per_s: f64,
        /// Part that is lost on each metre, 0 to 0.999.
        fade_per_m: f64,
    },
}

/// The way of a spot through the coils of a group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Path {
    /// Along an axis, from the first coil to the last. Coils that stand level move together.
    Axis {
        /// Direction, degrees counter-clockwise from right.
        towards_deg: f64,
    },
    /// Around the middle of the group, and on from its end to its beginning. Coils in the same
    /// direction from the middle move together; lengths are measured at the farthest coil.
    Ring {
        /// Where it begins, degrees counter-clockwise from right.
        start_deg: f64,
        /// Which way it runs.
        clockwise: bool,
    },
}

/// What of the sound a route follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hears {
    /// The levels of its bands.
    Levels,
    /// Events: each throws the envelope up once. Ears count from 0 in the analysis' order. With a
    /// band, an event counts as much as the band's level within 30 ms of it says; without one,
    /// every event counts in full.
    Strikes {
        /// An ear that hears events or beats.
        ear: usize,
    },
    /// A value that an ear gives between two ends: the phase of the beat (0 and 1), or the
    /// centroid of the spectrum in Hz, on an axis of octaves.
    Between {
        /// The ear.
        ear: usize,
        /// Reads 0.
        low: f64,
        /// Reads 1, above `low`.
        high: f64,
    },
    /// Loudness, read by the range; what is usual in the music stands for the top.
    Loudness {
        /// The ear.
        ear: usize,
    },
}

/// How soft passages stay soft although ranges follow each band: the whole display moves less while
/// the music is softer than usual.
///
/// With L the short-term loudness and U what is usual, every wish is multiplied by
/// `10^(keep * min(L - U, 0) / 20)`, but by no less than `least`. With `keep` 0.5 a passage that
/// lies 12 LU below the usual moves half as far; one that is as loud as usual or louder is left as
/// it is. Of two passages the louder one never has the smaller factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Passages {
    /// All alike.
    Even,
    /// Soft ones soft.
    Kept {
        /// The ear that hears short-term loudness.
        ear: usize,
        /// dB of the wish for each LU, above 0 and at most 2.
        keep: f64,
        /// Smallest factor, 0 to 1.
        least: f64,
    },
}

/// One route, resolved: no names, no options.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteSettings {
    /// What it follows.
    pub hears: Hears,
    /// Indices into the analysis' bands, low to high: those it follows, or the one that says how
    /// much an event counts, or none.
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
    /// Matters for [`Combine::Over`] only: higher covers lower; of equals, the later route covers.
    pub priority: u32,
}

/// How routes that reach the same coil are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Combine {
    /// The wish of largest size wins; of equals, the earlier route.
    #[default]
    Max,
    /// Wishes add up; the total saturates at -1 and 1.
    Add,
    /// Routes lie over each other in the order of their priority. A wish v leaves 1 - |v| of what
    /// lies below it and adds v: a full wish hides the rest, half a wish shows half of it.
    Over,
}

/// What moves while nothing plays: a slow swell, from 0 to `level` and back in every period.
///
/// It begins when the last wish has faded to rest, grows over one period, and ends with the first
/// frame of returning sound. It depends on the number of the frame only.
#[derive(Debug, Clone, PartialEq)]
pub struct IdleSettings {
    /// Highest wish, 0 to 0.3; 0 moves nothing.
    pub level: f64,
    /// Time of one swell, 1 to 600 s.
    pub period_s: Seconds,
    /// Whether the swell wanders over the coils, or all of them breathe together.
    pub wander: bool,
    /// Coils that move, each at most once; none where there is no idle motion.
    pub coils: Vec<CoilId>,
}

impl RouteSettings {
    /// How many values the motion gets: one for each band that is followed, one for anything else.
    pub fn values(&self) -> usize {
        match self.hears {
            Hears::Levels => self.bands.len(),
            Hears::Strikes { .. } | Hears::Between { .. } | Hears::Loudness { .. } => 1,
        }
    }

    /// The ear it needs.
    pub fn ear(&self) -> Option<usize> {
        match self.hears {
            Hears::Levels => None,
            Hears::Strikes { ear } | Hears::Between { ear, .. } | Hears::Loudness { ear } => {
                Some(ear)
            }
        }
    }
}

impl IdleSettings {
    /// No idle motion.
    pub const NONE: Self =
        Self { level: 0.0, period_s: Seconds(10.0), wander: false, coils: Vec::new() };
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
    /// Soft passages.
    pub passages: Passages,
    /// Time constant with which wishes fade to rest when nothing plays.
    pub rest_s: Seconds,
    /// What moves at rest.
    pub idle: IdleSettings,
    /// Per coil, in display order, a factor of 0 to 1 on its wishes: coils differ.
    pub trims: Vec<f64>,
    /// Factor on all wishes, 0 to 1.
    pub master: f64,
}
