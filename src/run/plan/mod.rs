//! What only files can have: the whole song before its first frame.
//!
//! ```text
//! song -> engine -> duty file, if nothing was too hot
//!           |
//!           +-> spool: wishes and levels, frame by frame
//!           +-> rehearsal: heat wanted over time  ->  gains  ->  budget  ->  duty file
//! ```
//!
//! A song is decoded and heard once. While it is, its frames go to the file as a live run would make
//! them, and what is needed to make them again goes into a spool. If the limiter had nothing to do,
//! that is all. Else gains are found ([`budget::plan`](crate::budget::plan())) and the frames are made
//! again from the spool, and once or twice more where the gains can still be bettered. Several songs
//! in a row are one run of heat with one set of gains: each begins as warm as the one before it ended.
//!
//! A [`Tally`] compares what came out with a fixed clamp, and with what was wished.

mod again;
mod first;
mod report;
mod spool;
mod tally;

use std::path::PathBuf;

use crate::analysis::Knowing;
use crate::audio::Source;
use crate::budget::{Plan, plan};
use crate::run::pump::Flow;
use crate::run::render::{RenderError, RenderJob};

pub use report::{CoilGained, PlanReport, Planned};
pub use tally::Tally;

/// A song and where its frames go.
pub struct Piece {
    /// The sound.
    pub source: Box<dyn Source + Send>,
    /// What is known of it beforehand.
    pub knowing: Knowing,
    /// The duty file to write.
    pub out: PathBuf,
}

/// What the limiter may still take of all that is wished once a plan stands: a moment here and there.
const LIMITER_MAY: f64 = 0.002;
/// Gains that would be moved by less than this are good enough.
const NEAR: f64 = 0.03;
/// Times the frames are made again at most.
const TIMES: usize = 3;

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
    let mut plan_now = Plan::none(&songs.settings).map_err(crate::engine::EngineError::from)?;
    if !songs.whole || songs.limiter_took() <= LIMITER_MAY {
        return songs.finish(&plan_now);
    }
    let mut wanted = (plan_now.clone(), songs.rehearsal.sums());
    for time in 1..=TIMES {
        plan_now = found(&songs, &plan_now)?;
        again::make(&mut songs, job, &plan_now, hook)?;
        let now = songs.rehearsal.sums();
        plan_now.learn(&now, &wanted.0, &wanted.1);
        let good = songs.limiter_took() <= LIMITER_MAY
            && plan_now.is_near(&found(&songs, &plan_now)?, NEAR);
        if good || !songs.whole || time == TIMES {
            break;
        }
        wanted = (plan_now.clone(), now);
    }
    songs.finish(&plan_now)
}

/// Gains under which the songs as rehearsed fit, in steps that a file can say.
fn found(songs: &first::Songs, last: &Plan) -> Result<Plan, RenderError> {
    let mut plan =
        plan(&songs.settings, &songs.rehearsal, last).map_err(crate::engine::EngineError::from)?;
    for gain in &mut plan.gains {
        *gain = (libm::floor(*gain * GAIN_STEPS) / GAIN_STEPS).max(GAIN_STEPS.recip());
    }
    Ok(plan)
}

/// Steps of a gain.
const GAIN_STEPS: f64 = 1e4;
