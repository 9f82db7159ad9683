//! Everything a run needs between its source and its sink, built from what the maker wrote.

use crate::audio::SoundFormat;
use crate::budget::BudgetSettings;
use crate::engine::{Engine, Listener};
use crate::frame::Head;
use crate::preset::{Mapping, Names, prepare};
use crate::run::ends::head;
use crate::run::meter::Metering;
use crate::run::render::{RenderError, RenderJob};
use crate::units::Seconds;

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
    /// The last stage's settings.
    pub budget: BudgetSettings,
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
        Self::build(job, further, sound, true)
    }

    /// The line of a job whose gains are planned for the whole song: nothing rides on the heat
    /// meanwhile.
    ///
    /// # Errors
    /// When mapping, display and sound do not fit each other.
    pub fn unridden(job: &RenderJob<'_>, sound: SoundFormat) -> Result<Self, RenderError> {
        Self::build(job, &[], sound, false)
    }

    fn build(
        job: &RenderJob<'_>,
        further: &[Mapping],
        sound: SoundFormat,
        rides: bool,
    ) -> Result<Self, RenderError> {
        let fit =
            |mapping| prepare(mapping, job.display, sound, job.rate, job.start.clone(), job.arith);
        let (mut prepared, mut names) = fit(job.mapping)?;
        if !rides {
            prepared.budget.ride = Seconds(0.0);
        }
        let mut engine = Engine::new(&prepared)?;
        for mapping in further {
            let (prepared, named) = fit(mapping)?;
            names.warnings.extend(named.warnings);
            engine.add(Listener::new(&prepared)?)?;
        }
        let head = head(job, &engine, &prepared)?;
        let metering = Metering::new(&prepared.budget, prepared.analysis.bands.len());
        Ok(Self { engine, metering, head, names, budget: prepared.budget })
    }
}
