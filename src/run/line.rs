//! Everything a run needs between its source and its sink, built from what the maker wrote.

use crate::analysis::Knowing;
use crate::audio::SoundFormat;
use crate::engine::{Engine, Listener};
use crate::frame::Head;
use crate::preset::{Mapping, Names, prepare};
use crate::run::ends::head;
use crate::run::meter::Metering;
use crate::run::render::{RenderError, RenderJob};

/// An engine with all its mappings, its meters and the head of its file. All memory is taken.
pub struct Line {
    /// Sound to permitted duty.
    pub engine: Engine,
    /// What people see of it.
    pub metering: Metering,
    /// First packet of its file.
    pub head: Head,
    /// What things are called, and what the maker should know.
    pub names: Names,
}

impl Line {
    /// Builds the line that `job` describes, for a sound; hands may change over to the `further`
    /// mappings.
    ///
    /// # Errors
    /// When mappings, display and sound do not fit each other.
    pub fn new(
        job: &RenderJob<'_>,
        further: &[Mapping],
        sound: SoundFormat,
    ) -> Result<Self, RenderError> {
        Self::knowing(job, further, sound, &Knowing::Nothing)
    }

    /// The same for a song of which something is known beforehand.
    ///
    /// # Errors
    /// As [`Line::new`].
    pub fn knowing(
        job: &RenderJob<'_>,
        further: &[Mapping],
        sound: SoundFormat,
        knowing: &Knowing,
    ) -> Result<Self, RenderError> {
        let fit = |mapping| {
            let start = job.start.clone();
            let (mut prepared, names) =
                prepare(mapping, job.display, sound, job.rate, start, job.arith)?;
            prepared.analysis.knowing = knowing.clone();
            Ok::<_, RenderError>((prepared, names))
        };
        let (prepared, mut names) = fit(job.mapping)?;
        let mut engine = Engine::new(&prepared)?;
        for mapping in further {
            let (prepared, named) = fit(mapping)?;
            names.warnings.extend(named.warnings);
            engine.add(Listener::new(&prepared)?)?;
        }
        let head = head(job, &engine, &prepared)?;
        let metering = Metering::new(&prepared.budget, prepared.analysis.bands.len());
        Ok(Self { engine, metering, head, names })
    }
}
