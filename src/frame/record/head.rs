//! What a head must hold before anything is written or read by it.

use thiserror::Error;

use super::super::pack::count;
use super::super::{Head, Packing, Tail};
use super::{FORMAT, MOST_COILS};
use crate::units::Rate;

/// Why a head cannot stand.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum HeadError {
    /// Another major version of the format.
    #[error(
        "the file is of format {}.{}, this program reads and writes format {}.x: use the version \
         of coilscore that wrote it, or make the file again from the song",
        .found[0], .found[1], FORMAT[0]
    )]
    Version {
        /// What the head says.
        found: [u16; 2],
    },
    /// Not a frame rate.
    #[error("{}/{} is not a frame rate: it must be 1 to 1000 frames per second", .0[0], .0[1])]
    Rate([u32; 2]),
    /// No coils, or too many.
    #[error("{0} coils: a duty file holds 1 to {MOST_COILS}")]
    Coils(u64),
    /// A run of coils whose driver has no steps.
    #[error("the coils of run {0} (from 0) have 0 steps: full duty must be at least 1")]
    NoSteps(usize),
    /// The packing cannot carry a run's codes.
    #[error("the {packing:?} packing cannot carry the {steps} steps of run {run} (from 0)")]
    Packing {
        /// Stated packing.
        packing: Packing,
        /// Number of the run.
        run: usize,
        /// Its steps.
        steps: u16,
    },
    /// Gains that are not one for each coil.
    #[error("{found} gains for {coils} coils: there is one for each, 0 to 1, or none at all")]
    Gains {
        /// Gains that are there.
        found: usize,
        /// Coils.
        coils: u64,
    },
    /// A number that JSON cannot write.
    #[error("{0} is not a finite number")]
    NotFinite(&'static str),
    /// Not the JSON object it should be.
    #[error("its JSON cannot be read: {0}")]
    Json(String),
}

impl Head {
    /// Frames per second, `None` when the ratio is no frame rate.
    pub fn frame_rate(&self) -> Option<Rate> {
        let [num, den] = self.rate;
        Rate::new(num, den)
    }

    /// Number of coils in all runs.
    pub fn coil_count(&self) -> usize {
        usize::try_from(count(&self.coils)).unwrap_or(usize::MAX)
    }

    /// Steps of each coil, in display order.
    pub fn steps(&self) -> impl Iterator<Item = u16> + '_ {
        self.coils.iter().flat_map(|run| std::iter::repeat_n(run.steps, run.count as usize))
    }
}

impl Tail {
    /// The lists that have one value for each coil: wished, granted, cut by heat, rail, driver.
    pub fn per_coil(&self) -> [&[f64]; 5] {
        [&self.wished, &self.granted, &self.cut_heat, &self.cut_rail, &self.cut_driver]
    }
}

/// Checks a head before a file is begun or read.
///
/// # Errors
///
/// The first thing that is wrong with it.
pub fn check_head(head: &Head) -> Result<(), HeadError> {
    check_version(head.version)?;
    if head.frame_rate().is_none() {
        return Err(HeadError::Rate(head.rate));
    }
    let coils = count(&head.coils);
    if !(1..=MOST_COILS).contains(&coils) {
        return Err(HeadError::Coils(coils));
    }
    check_runs(head)?;
    let fits = head.gains.iter().all(|gain| (0.0..=1.0).contains(gain));
    if !head.gains.is_empty() && (!fits || head.gains.len() as u64 != coils) {
        return Err(HeadError::Gains { found: head.gains.len(), coils });
    }
    let bands = head.bands.iter().flat_map(|band| [band.low_hz, band.high_hz, band.delay_s]);
    let rails = head.rails.iter().flat_map(|rail| [rail.volts, rail.limit_a]);
    finite("a number of a band", bands)?;
    finite("a number of a rail", rails)?;
    let ways = head.lag.iter().flat_map(|lag| [lag.rise, lag.fall]);
    finite(
        "a number of the lag",
        ways.flat_map(|way| [way.dead_s, way.natural_rad_per_s, way.damping]),
    )?;
    finite("the room temperature", [head.room_c])
}

pub(super) fn check_version(found: [u16; 2]) -> Result<(), HeadError> {
    if found[0] == FORMAT[0] { Ok(()) } else { Err(HeadError::Version { found }) }
}

fn check_runs(head: &Head) -> Result<(), HeadError> {
    let packing = head.packing;
    let carried = packing.codes();
    for (number, run) in head.coils.iter().enumerate() {
        if run.steps == 0 {
            return Err(HeadError::NoSteps(number));
        }
        let codes = run.codes();
        if !carried.contains(codes.start()) || !carried.contains(codes.end()) {
            return Err(HeadError::Packing { packing, run: number, steps: run.steps });
        }
    }
    Ok(())
}

pub(super) fn finite(
    what: &'static str,
    numbers: impl IntoIterator<Item = f64>,
) -> Result<(), HeadError> {
    match numbers.into_iter().all(f64::is_finite) {
        true => Ok(()),
        false => Err(HeadError::NotFinite(what)),
    }
}
