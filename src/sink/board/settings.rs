//! What the sink must know of display and boards.

use crate::frame::Packing;
use crate::frame::wire::limits::Limit;
use crate::frame::wire::line::duty_bytes;
use crate::units::Rate;

/// A display as its boards see it. `preset::board_settings` fills it from a display file.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardSettings {
    /// Frames per second.
    pub rate: Rate,
    /// Compare value at full duty.
    pub steps: u16,
    /// Whether codes may be negative.
    pub two_way: bool,
    /// The narrowest packing for these codes.
    pub packing: Packing,
    /// PWM frequency that the heat was reckoned for, Hz; 0: for slow PWM, so that any will do.
    pub pwm_hz: u32,
    /// How long a board may hold its last frame, ms: what heat was reckoned for.
    pub hold_ms: u16,
    /// Bits per second on each line, where anyone said.
    pub baud: Option<u32>,
    /// Time constant of the means in `limits`, s; 0: as the boards have it.
    pub window_s: u16,
    /// How long after its arrival a frame is due, s: the length of a block of sound, so that the
    /// frames of one block are spread over the time to the next. `None`: learn it.
    pub block_s: Option<f64>,
    /// How late a frame may go out, s; later ones are skipped.
    pub late_s: f64,
    /// Boards in the order of their numbers, each on a line of its own.
    pub boards: Vec<Wiring>,
}

/// One board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wiring {
    /// Its number in the display file.
    pub number: u16,
    /// Per channel: the coil that it drives, as an index in display order.
    pub coils: Vec<Option<u32>>,
    /// Per channel: what to tighten the board's limits to.
    pub limits: Vec<Limit>,
}

/// How long after it was due a frame may go out where nobody says otherwise, s: half the hold, and
/// no more than this, which is seen as a hitch but not as another time.
const LATE_S: f64 = 0.1;

impl BoardSettings {
    /// The lateness that goes with a hold.
    pub fn late_for(hold_ms: f64) -> f64 {
        (hold_ms / 2000.0).min(LATE_S)
    }

    /// Bytes of the longest DUTY packet of a board.
    pub fn packet_bytes(&self, board: &Wiring) -> usize {
        duty_bytes(self.packing, board.coils.len())
    }
}
