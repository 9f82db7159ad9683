//! Duties as numbered packets: for a board, for a file, for a table.
//!
//! The values here are what the packets of [`wire`] and the duty file of [`record`] carry. [`pack`]
//! turns compare values into bytes. For other programs, [`table`] turns them into text, [`mod@array`]
//! into an array, [`wave`] into the channels of a sound file, and [`meters`] tells what went on
//! meanwhile. [`Hands`] are what a person does to a run besides.

pub mod array;
mod hands;
pub mod meters;
pub mod pack;
pub mod record;
pub mod table;
pub mod wave;
pub mod wire;

pub use hands::Hands;
use serde::{Deserialize, Serialize};

/// A compare value read back from a file. Not a permission: it has to pass through the budget of
/// the display that is plugged in now before it can drive anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecordedCode(pub i32);

/// What a table says of each code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Values {
    /// The duty, -1 to 1: the code over the driver's steps.
    Duties,
    /// The code itself.
    Codes,
}

/// A run of coils with the same driver, in display order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CoilRun {
    /// How many coils.
    pub count: u32,
    /// Compare value at full duty.
    pub steps: u16,
    /// True when codes may be negative.
    pub two_way: bool,
}

/// A rail, for whoever draws or replays the file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RailHead {
    /// As the maker calls it.
    pub name: String,
    /// Volts.
    pub volts: f64,
    /// Mean current limit, A.
    pub limit_a: f64,
}

/// A band whose level the METER packets carry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BandHead {
    /// Lower edge.
    pub low_hz: f64,
    /// Upper edge.
    pub high_hz: f64,
    /// `all`, `left`, `right`, `mid` or `side`.
    pub channel: String,
    /// What each frequency counts: `none` or `a` (IEC 61672-1). Left out of the file when `none`.
    #[serde(default = "unweighted", skip_serializing_if = "is_unweighted")]
    pub weighting: String,
    /// From a click to -10 dB of the band's own peak.
    pub delay_s: f64,
}

/// The word of [`BandHead::weighting`] that files leave out.
pub const UNWEIGHTED: &str = "none";

fn unweighted() -> String {
    UNWEIGHTED.into()
}

fn is_unweighted(weighting: &str) -> bool {
    weighting == UNWEIGHTED
}

/// How duties are packed. One for the whole file: the narrowest that holds every coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Packing {
    /// One byte a coil: no more than 255 steps, one-way.
    Byte,
    /// Twelve bits a coil, two coils in three bytes: no more than 4095 steps, one-way.
    Twelve,
    /// Two bytes a coil, one-way.
    Word,
    /// Two bytes a coil, two's complement.
    SignedWord,
}

/// First packet of a duty file. Holds no wall time, path or build date: the same song, mapping and
/// display give the same file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Major and minor version of the format; readers refuse another major.
    pub version: [u16; 2],
    /// Frames per second as numerator and denominator.
    pub rate: [u32; 2],
    /// How far each frame is sent ahead of its sound, microseconds.
    pub lead_us: u32,
    /// How late the fluid follows, where the display says so. Since format 1.1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lag: Option<LagHead>,
    /// `native` or `portable`.
    pub arith: String,
    /// Coils in display order.
    pub coils: Vec<CoilRun>,
    /// Packing of the DUTY packets.
    pub packing: Packing,
    /// Name of the display.
    pub display: String,
    /// Name of the mapping.
    pub mapping: String,
    /// Digest of the display as resolved, hexadecimal.
    pub display_digest: String,
    /// Digest of the mapping as resolved, hexadecimal.
    pub mapping_digest: String,
    /// Sampling rate of the song, Hz.
    pub sound_rate_hz: u32,
    /// Channels of the song.
    pub sound_channels: u16,
    /// Room temperature the heat model assumed, C.
    pub room_c: f64,
    /// `cold`, `warm`, `unknown` or `nodes`.
    pub start: String,
    /// Per coil: the gain, 0 to 1, that a plan for the whole song put on its wishes. Left out of the
    /// file where nothing was planned.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gains: Vec<f64>,
    /// Bands in the order of METER packets.
    pub bands: Vec<BandHead>,
    /// Rails in the order of METER packets.
    pub rails: Vec<RailHead>,
}

/// How late the fluid follows, each way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LagHead {
    /// When the pull grows.
    pub rise: WayHead,
    /// When it shrinks.
    pub fall: WayHead,
}

/// A dead time, then y'' + 2 damping w y' + w^2 y = w^2 q.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WayHead {
    /// Dead time, s.
    pub dead_s: f64,
    /// w, rad/s.
    pub natural_rad_per_s: f64,
    /// Share of critical damping.
    pub damping: f64,
}

/// The node that is closest to its bound.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NodeMeter {
    /// Coil number.
    pub coil: u32,
    /// Its temperature, C.
    pub now_c: f32,
    /// The temperature at which the limiter holds it: the limit less the margin for estimates.
    pub bound_c: f32,
    /// The limit the maker stated.
    pub limit_c: f32,
}

/// One METER packet: what the frames since the last one did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Meter {
    /// Number of the last frame it covers.
    pub frame: u32,
    /// True when the sound counted as quiet.
    pub quiet: bool,
    /// Highest level per band, dBFS.
    pub band_dbfs: Vec<f32>,
    /// Winding closest to its bound.
    pub coil: NodeMeter,
    /// Backing closest to its bound.
    pub backing: NodeMeter,
    /// Enclosure (the room where there is none), C.
    pub enclosure_c: f32,
    /// Mean current per rail, A.
    pub rail_mean_a: Vec<f32>,
    /// Highest frame current per rail, A.
    pub rail_peak_a: Vec<f32>,
    /// Mean of the wishes' sizes added up over the coils.
    pub wished: f32,
    /// Mean of the granted duties' sizes added up.
    pub granted: f32,
    /// Mean duty cut by heat, added up.
    pub cut_heat: f32,
    /// Mean duty cut by the rails.
    pub cut_rail: f32,
    /// Mean duty cut by the driver.
    pub cut_driver: f32,
}

/// What was granted over a whole song against a fixed clamp: every duty held to what its coil can do
/// for ever. Sums over all coils.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Gained {
    /// Copper heat granted and clamped, J, with windings at room temperature.
    pub energy_j: [f64; 2],
    /// Motion granted and clamped: squares of each coil's duty around its own mean, added up over time,
    /// s.
    pub motion_s: [f64; 2],
    /// How alike wishes and duties move: correlation of each coil, weighted by what it was to move;
    /// granted and clamped, -1 to 1.
    pub likeness: [f64; 2],
}

/// The coil that a plan turned down most, and what kept it from more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeldBack {
    /// What the coil is called.
    pub coil: String,
    /// Its gain, 0 to 1.
    pub gain: f64,
    /// The rail that took from it; left out where it was its heat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rail: Option<String>,
    /// When its winding came nearest its bound, or the rail took most, s in the frames of this file;
    /// left out where that was in another song of the run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_s: Option<f64>,
}

/// Last packet of a whole duty file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tail {
    /// Number of DUTY packets.
    pub frames: u32,
    /// Instants of sound that were heard.
    pub sound_instants: u64,
    /// Digest of the samples, hexadecimal.
    pub sound_digest: String,
    /// Per coil: sum over frames of the wished size, in duty.
    pub wished: Vec<f64>,
    /// Per coil: granted.
    pub granted: Vec<f64>,
    /// Per coil: cut by heat.
    pub cut_heat: Vec<f64>,
    /// Per coil: cut by a rail.
    pub cut_rail: Vec<f64>,
    /// Per coil: cut by the driver.
    pub cut_driver: Vec<f64>,
    /// Every node's temperature after the last frame, C: coils, backings, enclosure. A next song
    /// can start from it.
    pub node_c: Vec<f64>,
    /// What was gained over a fixed clamp. Left out of the file where nobody compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gained: Option<Gained>,
    /// The coil that its plan turned down most. Left out of files without a plan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_back: Option<HeldBack>,
}
