//! What only files can have: the whole song before its first frame.
//!
//! ```text
//! song -> engine -> duty file, if nothing was too hot
//!           |
//!           +-> spool: wishes and levels, frame by frame
//!           +-> rehearsal: heat wanted over time  ->  gains  <->  budget  ->  duty file
//! ```
//!
//! A song is decoded and heard once. While it is, its frames go to the file as a live run would make
//! them, and what is needed to make them again goes into a spool. If every coil moves as it was wished,
//! that is all. Else gains are found: first as heat alone is reckoned to allow
//! ([`budget::plan`](crate::budget::plan())), then by making the frames again from the spool a few
//! times and looking how alike duty and wish are (`search`), limiter and supply included. With the best
//! of them the files are written. Several songs in a row are one run of heat with one set of gains: each
//! begins as warm as the one before it ended.
//!
//! A [`Tally`] compares what came out with a fixed clamp, and with what was wished.

mod again;
mod bounds;
mod first;
mod report;
mod search;
mod spool;
mod tally;

use std::path::PathBuf;

use crate::analysis::Knowing;
use crate::audio::{SoundError, Source};
use crate::budget::{Plan, plan};
use crate::engine::EngineError;
use crate::run::pump::Flow;
use crate::run::render::{RenderError, RenderJob};

use search::Search;

pub use bounds::Bound;
pub use report::{CoilGained, PlanReport, Planned};
pub use tally::Tally;

/// Opens a song when its turn has come: of a long list, only one is open at a time.
pub type Opening = Box<dyn FnOnce() -> Result<Box<dyn Source + Send>, SoundError>>;

/// A song and where its frames go.
pub struct Piece {
    /// The sound.
    pub open: Opening,
    /// What is known of it beforehand.
    pub knowing: Knowing,
    /// The duty file to write.
    pub out: PathBuf,
}

/// Renders songs that are played one after another, as one run of heat, and plans its gains.
/// `hook` is asked with the number of the song, from 0, and the instants of it heard so far, and may
/// stop the run; then the `.part` files keep what was made.
///
/// # Errors
/// As [`render`](fn@crate::run::render::render). No file gets its name before all are whole.
pub fn render_planned(
    pieces: Vec<Piece>,
    job: &RenderJob<'_>,
    hook: &mut dyn FnMut(usize, u64) -> Flow,
) -> Result<Planned, RenderError> {
    let mut songs = first::hear(pieces, job, hook)?;
    let none = Plan::none(&songs.settings).map_err(EngineError::from)?;
    let without = songs.seen();
    if !songs.whole || Search::is_needless(&none, &without) {
        return songs.finish(&none);
    }
    let reckoned = plan(&songs.settings, &songs.rehearsal, &none).map_err(EngineError::from)?;
    let mut search = Search::from(reckoned, &without);
    while let Some(seen) = again::try_out(&mut songs, job, search.gains(), hook)? {
        if !search.learn(&seen) {
            let found = search.done();
            again::write(&mut songs, job, &found, hook)?;
            return songs.finish(&found);
        }
    }
    // Stopped: the files keep what was heard.
    songs.whole = false;
    songs.finish(&none)
}
