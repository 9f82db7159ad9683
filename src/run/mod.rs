//! Everything that moves: sources to engine to sinks, in one loop.
//!
//! [`pump()`] is the loop. [`render()`] runs it over a file; [`ahead`] decodes on a second thread
//! meanwhile; [`meter`] condenses what the engine says for people; [`request`] puts any request,
//! not music, through the budget; [`convert()`] turns a duty file into tables; [`events`] writes what is
//! heard in a song.

pub mod ahead;
pub mod convert;
pub mod events;
pub mod meter;
pub mod pump;
pub mod render;
pub mod request;

pub use convert::convert;
pub use pump::{Flow, Pumped, pump};
pub use render::{RenderJob, RenderReport, render};
