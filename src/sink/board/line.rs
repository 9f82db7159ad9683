//! What a line carries, and how much of it is on its way.
//!
//! Adapters and pseudo-terminals take dozens of frames at once and hand them on long after they
//! are of use. So nothing is given to one before arithmetic says that the line is nearly free.

use super::error::BoardError;
use super::settings::BoardSettings;
use crate::frame::wire::line::{packets_per_s, seconds};

/// How full a line may be kept: clocks at its ends differ by a few percent, and OFF and HELLO need
/// room too.
pub(super) const LINE_SHARE: f64 = 0.95;

/// Time that bytes may wait in the adapter, s: what a thread may oversleep without leaving the line
/// idle.
const AHEAD_S: f64 = 0.002;

/// Refuses a display whose frames do not go through its lines, with the arithmetic. Gives the
/// speed of the lines, bits per second.
///
/// # Errors
///
/// [`BoardError::NoBaud`], [`BoardError::Slow`] or [`BoardError::Hold`].
pub fn check_line(settings: &BoardSettings) -> Result<u32, BoardError> {
    let rate = settings.rate;
    let period_ms = rate.period().0 * 1000.0;
    if period_ms > f64::from(settings.hold_ms) {
        return Err(BoardError::Hold { rate, period_ms, hold_ms: settings.hold_ms });
    }
    let baud = settings.baud.ok_or(BoardError::NoBaud)?;
    for board in &settings.boards {
        let bytes = settings.packet_bytes(board);
        check_board(settings, board.number, bytes)?;
    }
    Ok(baud)
}

/// The same for one board whose frames take so many bytes.
pub(super) fn check_board(
    settings: &BoardSettings,
    board: u16,
    bytes: usize,
) -> Result<(), BoardError> {
    let baud = settings.baud.ok_or(BoardError::NoBaud)?;
    let rate = settings.rate;
    let most = packets_per_s(f64::from(baud) * LINE_SHARE, bytes);
    if most >= rate.per_second() {
        return Ok(());
    }
    let needed = rate.per_second() / packets_per_s(LINE_SHARE, bytes);
    #[expect(clippy::cast_possible_truncation, reason = "saturates, and is only shown")]
    #[expect(clippy::cast_sign_loss, reason = "a speed is not negative")]
    let needed = needed.ceil() as u32;
    let share = LINE_SHARE * 100.0;
    Err(BoardError::Slow { board, rate, bytes, baud, share, most, needed })
}

/// When a line will have sent what it was given.
#[derive(Debug, Clone)]
pub(super) struct Line {
    baud: f64,
    free_s: f64,
}

impl Line {
    pub(super) fn new(baud: u32) -> Self {
        Self { baud: f64::from(baud), free_s: 0.0 }
    }

    /// From when on it takes more, s.
    pub(super) fn ready_s(&self) -> f64 {
        self.free_s - AHEAD_S
    }

    pub(super) fn is_ready(&self, now_s: f64) -> bool {
        now_s >= self.ready_s()
    }

    /// So many bytes were given to it.
    pub(super) fn gave(&mut self, bytes: usize, now_s: f64) {
        // It is no faster than its clock, which may be slower than this one.
        self.free_s = self.free_s.max(now_s) + seconds(self.baud * LINE_SHARE, bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_go_out_no_faster_than_the_line_takes_them() {
        // 100 bytes are 1000 bits: 1 ms at 1 Mbaud, and 1.05 ms where 5 % is kept free.
        let mut line = Line::new(1_000_000);
        let (mut now_s, mut sent) = (0.0, 0);
        while now_s < 1.0 {
            if line.is_ready(now_s) {
                line.gave(100, now_s);
                sent += 1;
            }
            now_s += 0.0001;
        }
        assert!((950..=953).contains(&sent), "{sent} packets in a second");
        // After a pause there is no credit but the little that may wait.
        let (mut burst, later_s) = (0, now_s + 10.0);
        while line.is_ready(later_s) {
            line.gave(100, later_s);
            burst += 1;
        }
        assert!(burst <= 3, "{burst} packets at once");
    }
}
