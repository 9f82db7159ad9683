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
mod line;
#[cfg(any(feature = "serial", test))]
mod link;
mod pacer;
mod report;
#[cfg(any(feature = "serial", test))]
mod ring;
mod settings;
mod split;
#[cfg(feature = "serial")]
mod talk;
#[cfg(test)]
mod tests;
#[cfg(feature = "serial")]
mod writer;

pub use backoff::Backoff;
pub use error::BoardError;
pub use greeting::{Greeting, Stage, differences};
#[cfg(feature = "serial")]
pub use handle::Board;
pub use line::check_line;
pub use pacer::Pacer;
pub use report::{BoardReport, LineState};
pub use settings::{BoardSettings, Wiring};
pub use split::codes;
#[cfg(feature = "serial")]
pub use talk::Talk;
