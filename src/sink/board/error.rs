//! Why a board cannot be driven, and what to do.

use thiserror::Error;

use crate::units::Rate;

/// Why a board cannot be driven.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum BoardError {
    /// As many lines as boards are needed.
    #[error(
        "the display has {} and {} given: give --port once for each board, in the order of their \
         numbers ({})", counted(.boards.len(), "board"), were(*.ports), list(.boards)
    )]
    Ports {
        /// Numbers of the boards.
        boards: Vec<u16>,
        /// Ports given.
        ports: usize,
    },
    /// One port for two boards.
    #[error(
        "--port {port} is given twice: each board has a port of its own, see `coilscore ports`"
    )]
    Twice {
        /// As given first.
        port: String,
    },
    /// Nobody said how fast the line is.
    #[error(
        "the speed of the line is not known: give --baud, or write it into the display file: \
         [link] with baud = ..."
    )]
    NoBaud,
    /// More than the line carries.
    #[error(
        "board {board}: {rate} frames/s of {bytes} bytes are {:.0} bit/s, and a line of {baud} baud \
         kept at {share:.0} % carries {most:.1} frames/s: use a faster line (from {needed} baud on), \
         or fewer frames",
         .rate.per_second() * *.bytes as f64 * 10.0
    )]
    Slow {
        /// Number of the board.
        board: u16,
        /// Frames per second wanted.
        rate: Rate,
        /// Bytes of a frame on the line.
        bytes: usize,
        /// Bits per second.
        baud: u32,
        /// How full the line may be, percent.
        share: f64,
        /// Frames per second that it carries.
        most: f64,
        /// Bits per second that would do.
        needed: u32,
    },
    /// Frames come more slowly than they are held.
    #[error(
        "a frame lasts {period_ms:.1} ms at {rate} frames/s, and boards hold one for {hold_ms} ms: \
         coils would switch off between frames; use more frames, or a longer hold_ms"
    )]
    Hold {
        /// Frames per second.
        rate: Rate,
        /// Time between frames, ms.
        period_ms: f64,
        /// The hold, ms.
        hold_ms: u16,
    },
    /// The port cannot be opened.
    #[error("{port}: {why}; `coilscore ports` shows what is plugged in")]
    Open {
        /// The port as named.
        port: String,
        /// Why.
        why: String,
    },
    /// The board does not match.
    #[error("{port}: {why}")]
    Refused {
        /// The port.
        port: String,
        /// What differs.
        why: String,
    },
    /// No answer.
    #[error(
        "{port}: no board answers within {seconds} s at {baud} baud: is it powered, is it this \
         port, is this its speed?"
    )]
    Silent {
        /// The port.
        port: String,
        /// How long it was asked, s.
        seconds: f64,
        /// Bits per second.
        baud: u32,
    },
    /// The thread of the line could not be started.
    #[error("{port}: the line's thread cannot be started: {why}")]
    Thread {
        /// The port.
        port: String,
        /// Why.
        why: String,
    },
}

fn counted(count: usize, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

fn were(ports: usize) -> String {
    match ports {
        1 => "1 port was".into(),
        more => format!("{more} ports were"),
    }
}

fn list(numbers: &[u16]) -> String {
    numbers.iter().map(u16::to_string).collect::<Vec<_>>().join(", ")
}
