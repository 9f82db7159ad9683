//! Bridges rest at zero before they push the other way.
//!
//! Two switches of a bridge must never conduct at once, and a coil's current needs time to die
//! before its voltage turns. Dead time in the bridge covers nanoseconds; this covers the current,
//! and a board that applies two frames in a row without a pause.

use super::{CoilBudget, Polarity};

/// A rest that misses a frame by no more than this, in frames, is whole frames.
const HAIR: f64 = 1e-9;

/// One bridge.
#[derive(Debug, Clone, Copy)]
struct Turn {
    /// Frames of zero between signs; 0: none needed.
    rest: u32,
    /// Frames of zero since it last pushed.
    idle: u32,
    /// Whether it last pushed backwards. Before the first frame nothing flows, so that any way is
    /// free.
    backwards: bool,
}

/// The bridges of all coils; none where no bridge needs a rest.
#[derive(Debug, Clone)]
pub(super) struct Turns {
    turns: Vec<Turn>,
}

impl Turns {
    /// From checked coils.
    pub(super) fn new(coils: &[CoilBudget], frame_s: f64) -> Self {
        let turn = |coil: &CoilBudget| {
            let rest = match coil.polarity {
                Polarity::SignMagnitude => whole_frames(coil.turn_rest.0 / frame_s),
                Polarity::Unipolar => 0,
            };
            Turn { rest, idle: rest, backwards: false }
        };
        let turns: Vec<Turn> = coils.iter().map(turn).collect();
        let any = turns.iter().any(|turn| turn.rest > 0);
        Self { turns: if any { turns } else { Vec::new() } }
    }

    /// Whether a coil may push the way it is asked to.
    pub(super) fn may(&self, coil: usize, backwards: bool) -> bool {
        self.turns
            .get(coil)
            .is_none_or(|turn| turn.idle >= turn.rest || turn.backwards == backwards)
    }

    /// Takes note of a frame of zero.
    pub(super) fn rests(&mut self, coil: usize) {
        if let Some(turn) = self.turns.get_mut(coil) {
            turn.idle = turn.idle.saturating_add(1);
        }
    }

    /// Takes note of what was sent to a coil.
    pub(super) fn sent(&mut self, coil: usize, code: i32) {
        if code == 0 {
            self.rests(coil);
        } else if let Some(turn) = self.turns.get_mut(coil) {
            (turn.idle, turn.backwards) = (0, code < 0);
        }
    }
}

/// Rounded up; saturates.
#[expect(clippy::cast_possible_truncation, reason = "saturates far beyond any song")]
#[expect(clippy::cast_sign_loss, reason = "checked to be no less than 0")]
fn whole_frames(frames: f64) -> u32 {
    libm::ceil(frames - HAIR) as u32
}
