//! What a line's thread says of itself and its board.

use std::sync::Arc;

use crate::frame::wire::hello::Hello;
use crate::frame::wire::status::Status;

/// How a line stands. Later ones are better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum LineState {
    /// The board does not match and is not driven.
    Refused,
    /// The port is not there; it is looked for.
    Gone,
    /// The port is open, the board has not answered.
    #[default]
    Asking,
    /// The board is ready, or driven.
    Ready,
}

/// A snapshot of one line, or of all. Cheap to take and to copy.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BoardReport {
    /// How it stands; of several, the worst.
    pub state: LineState,
    /// Frames that the line took whole.
    pub sent: u64,
    /// Frames that were not: late, or no board.
    pub skipped: u64,
    /// Frames that were begun and not ended: the line took nothing more, or was lost, or OFF came
    /// first.
    pub abandoned: u64,
    /// How often the board was lost: unplugged, reset or silent.
    pub lost: u64,
    /// Why it is not driven, or was lost last.
    pub sentence: Option<Arc<str>>,
    /// What the board says it is.
    pub board: Option<Arc<Hello>>,
    /// Its last report; of several, the first board's that has one.
    pub status: Option<Status>,
    /// Running means of its channels' codes, without their signs; empty where it does not tell.
    pub means: Option<Arc<[u16]>>,
    /// How many STATUS came.
    pub statuses: u64,
    /// How far behind its due time the last frame went out, s.
    pub behind_s: f64,
    /// After the end: the board has said that it is off. Of several, all have.
    pub said_off: bool,
}

impl BoardReport {
    /// Whether every board is there and ready.
    pub fn connected(&self) -> bool {
        self.state == LineState::Ready
    }

    /// Of several lines as of one.
    pub(super) fn merge(self, other: &Self) -> Self {
        let worse = other.state < self.state;
        let sentence = if worse { other.sentence.clone() } else { None };
        Self {
            state: self.state.min(other.state),
            sent: self.sent + other.sent,
            skipped: self.skipped + other.skipped,
            abandoned: self.abandoned + other.abandoned,
            lost: self.lost + other.lost,
            sentence: sentence.or(self.sentence).or_else(|| other.sentence.clone()),
            board: self.board.or_else(|| other.board.clone()),
            status: self.status.or(other.status),
            means: self.means.or_else(|| other.means.clone()),
            statuses: self.statuses + other.statuses,
            behind_s: self.behind_s.max(other.behind_s),
            said_off: self.said_off && other.said_off,
        }
    }
}
