//! Everything that moves: sources to engine to sinks, in one loop.
//!
//! [`pump()`] is the loop. [`render()`] runs it over a file; [`ahead`] decodes on a second thread
//! meanwhile; [`line`](mod@line) builds what stands
//! between source and sink, [`ends`] writes first and last packet; [`meter`] condenses what the engine says for people; [`request`] puts any request,
//! not music, through the budget; [`convert()`] turns a duty file into tables.

pub mod ahead;
pub mod convert;
pub mod ends;
pub mod line;
pub mod meter;
pub mod pump;
pub mod render;
pub mod request;

pub use convert::convert;
pub use pump::{Beside, Flow, Pumped, pump};
pub use render::{RenderJob, RenderReport, render};
