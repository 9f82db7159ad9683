//! The build sheet: what to wire where, with which wire and fuse, and what to expect at power-up.
//!
//! [`build()`] works out the figures of a checked display, [`blocks()`] puts them into words and
//! tables, and [`text()`] sets those as plain text; the picture of a sheet is made of the same
//! blocks. Nothing here touches a coil: the sheet is for whoever holds the soldering iron.
//!
//! Currents are upper bounds: the whole rail voltage over the winding at room temperature.

mod cautions;
mod figures;
pub mod lift;
mod lift_advice;
mod text;
mod words;

use crate::preset::display::{AtReset, Stagger};
use serde::Serialize;

pub use figures::build;
pub use text::{text, wrap};
pub use words::blocks;

/// A part of a printed sheet.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// On top of the page.
    Title(String),
    /// Over a section.
    Heading(String),
    /// Headings of the columns, and rows of as many cells.
    Table {
        /// Over the columns.
        head: Vec<&'static str>,
        /// Cells.
        rows: Vec<Vec<String>>,
    },
    /// A sentence or two.
    Line(String),
    /// A step to tick off when done.
    Step(String),
}

/// Every figure of a build sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    /// Name of the display.
    pub display: String,
    /// Warmest room, C.
    pub room_c: f64,
    /// Driver.
    pub driver: DriverLine,
    /// Boards by number.
    pub boards: Vec<BoardLine>,
    /// Rails in the order of the file.
    pub rails: Vec<RailLine>,
    /// Coils in display order.
    pub coils: Vec<CoilLine>,
    /// What must be mended before power comes on.
    pub mend: Vec<String>,
    /// What to know.
    pub cautions: Vec<String>,
    /// What to do, in this order.
    pub power_up: Vec<String>,
}

/// The driver.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DriverLine {
    /// `timer`, `expander` or `shift_chain`.
    pub kind: &'static str,
    /// PWM frequency as written, Hz.
    pub pwm_hz: Option<f64>,
    /// Compare value at full duty.
    pub steps: u16,
    /// Pulses shorter than this share of the period are left out.
    pub least_duty: f64,
    /// When pulses begin.
    pub stagger: Stagger,
    /// Outputs while the board starts.
    pub at_reset: AtReset,
    /// Zero between signs, ms; none on a one-way driver.
    pub bridge_zero_ms: Option<f64>,
    /// How long it keeps the last frame, ms.
    pub hold_ms: f64,
}

/// A board and its line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoardLine {
    /// Its number.
    pub board: u16,
    /// Channels that its packets carry.
    pub channels: u32,
    /// Bytes of one DUTY packet on the line, delimiter included, at most.
    pub packet_bytes: usize,
    /// Bytes per second that the line carries.
    pub line_bytes_per_s: Option<f64>,
    /// Frames per second that the line carries.
    pub line_frames_per_s: Option<f64>,
    /// The highest PWM frequency that it can make with its steps, Hz.
    pub fastest_pwm_hz: Option<f64>,
    /// The most steps that it can make at its PWM frequency.
    pub most_steps: Option<f64>,
    /// Frames per second that its bus carries.
    pub bus_frames_per_s: Option<f64>,
    /// The least of all of that, and of one frame per PWM period.
    pub frames_per_s: Option<f64>,
}

/// A rail.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RailLine {
    /// As the maker calls it.
    pub name: String,
    /// Voltage at the coils, V.
    pub volts: f64,
    /// Mean current that the budget lets it give, A.
    pub limit_a: f64,
    /// Its coils.
    pub coils: usize,
    /// All its coils at full duty, A: peak and mean alike.
    pub all_full_a: f64,
    /// Highest mean that can be: the limit, or all coils if that is less, A.
    pub mean_a: f64,
    /// Peak when all pulses begin at once, A.
    pub peak_together_a: f64,
    /// Peak when they are spread evenly, all coils at one duty, the mean at its highest, A.
    pub peak_spread_a: f64,
    /// Ripple of its capacitor, peak to peak, V, pulses together; if frequency and capacitor are
    /// known.
    pub ripple_together_v: Option<f64>,
    /// The same with pulses spread, all coils at one duty.
    pub ripple_spread_v: Option<f64>,
    /// Start-up ramp, ms.
    pub ramp_ms: f64,
    /// Fastest rise, A/s.
    pub slew_a_per_s: Option<f64>,
    /// Smooth current does not flow below this duty: the diode takes the voltage.
    pub dead_duty: f64,
}

/// A coil.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoilLine {
    /// Group and number within it.
    pub name: String,
    /// Index of its block in the file.
    #[serde(skip)]
    pub block: usize,
    /// Board.
    pub board: u16,
    /// Channel on the board.
    pub channel: u16,
    /// Rail by name.
    pub rail: String,
    /// What an ohmmeter shows across coil and wire at 20 C, ohm.
    pub ohms_20_c: f64,
    /// At full duty, A.
    pub full_a: f64,
    /// RMS current that heat allows for ever with all coils at work, A; alone it may be more.
    pub steady_a: f64,
    /// Its wire, if known.
    pub wire: Option<WireLine>,
    /// What its connector stands, A.
    pub connector_a: Option<f64>,
    /// Its fuse, A.
    pub fuse_a: Option<f64>,
    /// What is left for the winding at full duty after switch and wire, V.
    pub coil_v: f64,
}

/// A pair of wires.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WireLine {
    /// `AWG 24` or `0.5 mm2`.
    pub size: String,
    /// Copper, mm2.
    pub area_mm2: f64,
    /// One way, m.
    pub length_m: f64,
    /// There and back, with the wire as warm as the room, ohm.
    pub ohms: f64,
    /// Lost at full duty, V.
    pub drop_v: f64,
    /// The same in percent of the rail.
    pub drop_percent: f64,
    /// What it carries for ever, A.
    pub carries_a: f64,
}
