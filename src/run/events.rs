//! `events`: what was heard in a song, as a table.

use std::io::Write;

use thiserror::Error;

use crate::analysis::onset::{Event, Hearing, Onsets};
use crate::analysis::{AnalysisError, Arith};
use crate::audio::{SoundError, Source};
use crate::run::pump::Flow;

/// First line of the table.
pub const HEADINGS: &str = "time_s,kind,strength,emitted_s";

/// Why events could not be found or written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum EventsError {
    /// The sound cannot be analysed.
    #[error(transparent)]
    Analysis(#[from] AnalysisError),
    /// The sound failed.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// The table could not be written.
    #[error("the table could not be written: {0}")]
    Write(#[from] std::io::Error),
}

/// What was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Listened {
    /// In order of the time at which they began.
    pub events: Vec<Event>,
    /// Length of the sound that was heard, s.
    pub song_s: f64,
    /// False when the hook stopped it.
    pub whole: bool,
}

/// Finds the events of a whole song. `hook` is asked once per block, with the instants heard so
/// far, and may stop it.
///
/// # Errors
/// When the sound cannot be analysed or decoded further.
pub fn listen(
    source: &mut dyn Source,
    hearing: Hearing,
    arith: Arith,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<Listened, EventsError> {
    let sound = source.format();
    let mut onsets = Onsets::new(sound, hearing, arith)?;
    let (mut events, mut instants, mut whole) = (Vec::new(), 0_u64, true);
    while let Some(block) = source.next_block()? {
        onsets.push(block, &mut |event| events.push(event));
        instants += block.instants() as u64;
        if hook(instants).is_break() {
            whole = false;
            break;
        }
    }
    if whole {
        onsets.finish(&mut |event| events.push(event));
    }
    events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s).then(a.kind.cmp(&b.kind)));
    Ok(Listened { events, song_s: instants as f64 / f64::from(sound.rate_hz), whole })
}

/// Writes one line for each event: seconds with four decimals, strength with three.
///
/// # Errors
/// When `out` does not take it.
pub fn write_table(events: &[Event], out: &mut dyn Write) -> Result<(), EventsError> {
    writeln!(out, "{HEADINGS}")?;
    for event in events {
        let Event { time_s, kind, strength, emitted_s } = event;
        writeln!(out, "{time_s:.4},{kind},{strength:.3},{emitted_s:.4}")?;
    }
    Ok(())
}
