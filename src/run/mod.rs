//! Everything that moves: sources to engine to sinks, in one loop.
//!
//! [`pump()`] is the loop. [`render()`] runs it over a file, [`live`] beside a person, a disk and a
//! clock; [`ahead`] decodes on a second thread meanwhile; [`line`](mod@line) builds what stands
//! between source and sink, [`ends`] the first and last packet of a file; [`meter`] condenses what
//! the engine says for people; [`request`] puts any request, not music, through the budget;
//! [`plan`] makes the best of a song that is known whole; [`play()`] replays a duty file; [`board_limits`] reckons what boards are to let through at most;
//! [`convert()`] turns a duty file into tables; [`heat_file`] carries the heat of a display from one
//! run to the next; [`walk`] drives one coil at a time; [`mod@rewrite`] writes display files in place;
//! `tune` serves the page on which a mapping is changed while it plays;
//! [`events`] writes what is heard in a song.

pub mod ahead;
pub mod board_limits;
pub mod convert;
pub mod ends;
pub mod events;
pub mod heat_file;
mod layout;
pub mod line;
pub mod live;
pub mod meter;
pub mod plan;
pub mod play;
pub mod pump;
pub mod render;
pub mod request;
pub mod rewrite;
#[cfg(feature = "tune")]
pub mod tune;
pub mod walk;

pub use convert::convert;
pub use plan::render_planned;
pub use play::play;
pub use pump::{Beside, Flow, Pumped, pump};
pub use render::{RenderJob, RenderReport, render};
