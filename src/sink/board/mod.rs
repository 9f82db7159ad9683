//! Driver boards on serial lines.
//!
//! A [`Board`] takes frames from the engine's thread without ever making it wait. Each line has a
//! thread of its own that greets its board, paces frames by their numbers, skips those that have
//! become stale, and switches everything off on every way out. What decides all that is free of
//! clocks and ports, and takes time as an argument:
//!
//! ```text
//! frames -> split -> ring -> pacer -> line -> bytes
//!           channels         due      room       greeting: HELLO, and what must match
//! ```
//!
//! The packets are those of [`wire`](crate::frame::wire).

mod backoff;
mod error;
mod greeting;
#[cfg(feature = "serial")]
mod handle;
#[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "for the threads of ports"))]
mod line;
#[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "for the threads of ports"))]
mod link;
mod pacer;
#[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "for the threads of ports"))]
mod report;
#[cfg_attr(not(feature = "serial"), allow(dead_code, reason = "for the threads of ports"))]
mod ring;
mod settings;
mod split;
#[cfg(feature = "serial")]
mod talk;
#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]
mod tests;
#[cfg(feature = "serial")]
mod writer;

pub use backoff::Backoff;
pub use error::BoardError;
pub use greeting::{Greeting, Stage, differences};
#[cfg(feature = "serial")]
pub use handle::{Board, Watch};
pub use line::check_line;
pub use pacer::Pacer;
pub use report::{BoardReport, LineState};
pub use settings::{BoardSettings, Wiring};
pub use split::codes;
#[cfg(feature = "serial")]
pub use talk::Talk;
