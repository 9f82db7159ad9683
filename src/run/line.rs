//! Everything a run needs between its source and its sink, built from what the maker wrote.

use crate::analysis::{EarRequest, Knowing};
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
        Self::knowing(job, further, sound, &Knowing::Nothing)
    }

    /// The line for sound that is there before it is heard: every frame leads it by what passes until
    /// the fluid shows it ([`Line::shown_after`]). On a display that does not say how late its fluid
    /// follows, nothing leads.
    ///
    /// # Errors
    /// As [`Line::new`].
    pub fn leading(
        job: &RenderJob<'_>,
        sound: SoundFormat,
        knowing: &Knowing,
    ) -> Result<Self, RenderError> {
        Self::ahead(job, sound, knowing, true)
    }

    /// The same, for a job whose gains are planned for the whole song: nothing rides on the heat
    /// meanwhile.
    ///
    /// # Errors
    /// As [`Line::new`].
    pub fn unridden(
        job: &RenderJob<'_>,
        sound: SoundFormat,
        knowing: &Knowing,
    ) -> Result<Self, RenderError> {
        Self::ahead(job, sound, knowing, false)
    }

    fn ahead(
        job: &RenderJob<'_>,
        sound: SoundFormat,
        knowing: &Knowing,
        rides: bool,
    ) -> Result<Self, RenderError> {
        let plain = Self::build(job, &[], sound, knowing, Seconds(0.0), rides)?;
        let Some(lead) = plain.shown_after(job) else { return Ok(plain) };
        let mut line = Self::build(job, &[], sound, knowing, lead, rides)?;
        let rate_hz = f64::from(sound.rate_hz);
        let instants = whole(lead.0 * rate_hz);
        line.engine.lead(instants);
        let micros = whole(instants as f64 / rate_hz * 1e6);
        line.head.lead_us = u32::try_from(micros).unwrap_or(u32::MAX);
        Ok(line)
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
        Self::build(job, further, sound, knowing, Seconds(0.0), true)
    }

    /// Frames will lead by `lead`: beats that are to be told early have that much already.
    fn build(
        job: &RenderJob<'_>,
        further: &[Mapping],
        sound: SoundFormat,
        knowing: &Knowing,
        lead: Seconds,
        rides: bool,
    ) -> Result<Self, RenderError> {
        let fit = |mapping| {
            let start = job.start.clone();
            let (mut prepared, names) =
                prepare(mapping, job.display, sound, job.rate, start, job.arith)?;
            prepared.analysis.knowing = knowing.clone();
            for ear in &mut prepared.analysis.ears {
                if let EarRequest::Beat { lead_s, .. } | EarRequest::Phase { lead_s, .. } = ear {
                    lead_s.0 = (lead_s.0 - lead.0).max(0.0);
                }
            }
            if !rides {
                prepared.budget.ride = Seconds(0.0);
            }
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
        Ok(Self { engine, metering, head, names, budget: prepared.budget })
    }

    /// How long after a stroke the fluid shows it: its lag, what the bands take to hear it, what the
    /// routes take to rise, and half a frame. `None` on a display that does not say how late its
    /// fluid follows.
    pub fn shown_after(&self, job: &RenderJob<'_>) -> Option<Seconds> {
        let lag = job.display.fluid_lag()?;
        let attacks = job.mapping.routes.iter().map(|route| route.attack_ms / 1000.0);
        let rises_s = std::f64::consts::LN_2 * middle(attacks.collect());
        Some(Seconds(lag.lead().0 + self.heard_after().0 + rises_s + 0.5 * job.rate.period().0))
    }

    /// The middle of the bands' delays: how long after a stroke half of the bands have risen.
    pub fn heard_after(&self) -> Seconds {
        Seconds(middle(self.engine.analysis().bands().iter().map(|band| band.delay_s.0).collect()))
    }
}

/// The middle one; 0 of none.
fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a second or so, in instants or microseconds"
)]
fn whole(value: f64) -> u64 {
    value.round() as u64
}
