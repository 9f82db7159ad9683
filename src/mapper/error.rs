//! Why a mapping was refused. Each message says where, what was found and what would do.

use thiserror::Error;

use super::settings::{MapperSettings, Passages};
use crate::units::CoilId;

/// Time constants and holds, in seconds.
pub(super) const TIME_LIMITS_S: (f64, f64) = (0.0, 60.0);

/// Places and widths: a display is no larger than 200 m, mm.
const PLACE_LIMITS_MM: (f64, f64) = (-100_000.0, 100_000.0);

/// Why a mapping cannot be used on a display.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum MapperError {
    /// Nothing to move.
    #[error("the display has no coils; describe at least one")]
    NoCoils,
    /// A coordinate that is no number or farther than a display can reach.
    #[error(
        "{coil} stands at {x_mm} mm, {y_mm} mm; a place is two numbers from -100000 to 100000 mm"
    )]
    Place {
        /// Which coil.
        coil: CoilId,
        /// As given.
        x_mm: f64,
        /// As given.
        y_mm: f64,
    },
    /// The fade to rest.
    #[error("rest_s is {got_s} s; a fade to rest takes 0 to 60 s")]
    Rest {
        /// As given.
        got_s: f64,
    },
    /// The level of the whole mapping.
    #[error("master is {got}; it must be from 0 to 1")]
    Master {
        /// As given.
        got: f64,
    },
    /// The trim of a coil.
    #[error("{coil} has a trim of {got}; it must be from 0 to 1")]
    Trim {
        /// Which coil.
        coil: CoilId,
        /// As given.
        got: f64,
    },
    /// Trims do not fit the display.
    #[error("{got} trims for {coils} coils; give each coil one")]
    TrimCount {
        /// How many were given.
        got: usize,
        /// How many coils there are.
        coils: usize,
    },
    /// What becomes of soft passages.
    #[error("passages: {0}")]
    Passages(RouteFault),
    /// An ear that is not there.
    #[error("{who} listens with ear number {ear}, but there are {ears} (numbered from 0)")]
    UnknownEar {
        /// Route or other part of the mapping.
        who: String,
        /// As given.
        ear: usize,
        /// How many there are.
        ears: usize,
    },
    /// The idle motion.
    #[error("idle: {0}")]
    Idle(RouteFault),
    /// One route.
    #[error("route {}: {fault}", route + 1)]
    Route {
        /// Index of the route in the settings, from 0; the message counts from 1.
        route: usize,
        /// What is wrong with it.
        fault: RouteFault,
    },
}

/// What is wrong with a route.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RouteFault {
    /// An empty group.
    #[error("it moves no coil; name at least one")]
    NoCoils,
    /// A coil the display does not have.
    #[error("it moves {coil}, but the display has {coils} (coil 0 to coil {}); name one of those", coils.saturating_sub(1))]
    UnknownCoil {
        /// As given.
        coil: CoilId,
        /// How many there are.
        coils: usize,
    },
    /// The same coil twice in one group.
    #[error("it names {coil} twice; name each coil of a group once")]
    RepeatedCoil {
        /// The coil.
        coil: CoilId,
    },
    /// A band that is not measured.
    #[error(
        "it listens to band number {band}, but {bands} are measured (numbered from 0); measure it or name another"
    )]
    UnknownBand {
        /// As given.
        band: usize,
        /// How many there are.
        bands: usize,
    },
    /// Too few or too many bands for the motion.
    #[error("{motion} takes {takes}, not {got}")]
    BandCount {
        /// The motion.
        motion: &'static str,
        /// In words.
        takes: &'static str,
        /// How many were given.
        got: usize,
    },
    /// The range is empty or upside down.
    #[error("its range runs from {floor_db} dB up to {full_db} dB; full must be above floor")]
    Range {
        /// As given.
        floor_db: f64,
        /// As given.
        full_db: f64,
    },
    /// The ends between which an ear is read are empty or upside down.
    #[error(
        "what it hears is read from {low} to {high} (Hz for a centroid, parts of a beat for its phase); the upper end must be above the lower, and none below 0"
    )]
    Ends {
        /// As given.
        low: f64,
        /// As given.
        high: f64,
    },
    /// Bands cannot be laid out where all coils stand level.
    #[error(
        "all its coils stand at the same place along {towards_deg} degrees, so bands cannot be laid out along it; turn the axis or use level_all"
    )]
    NoExtent {
        /// As given.
        towards_deg: f64,
    },
    /// Fronts that arrive when what they show is long over.
    #[error(
        "a front needs {longest_s:.1} s to its farthest coil, and 10 s is the longest; let it travel at {at_least:.0} mm/s or more"
    )]
    Late {
        /// Time to the farthest coil.
        longest_s: f64,
        /// Speed that would do, mm/s.
        at_least: f64,
    },
    /// A number outside its range.
    #[error("{name} is {got}{unit}; it must be from {low} to {high}{unit}")]
    Number {
        /// The setting.
        name: &'static str,
        /// As given.
        got: f64,
        /// Smallest that would do.
        low: f64,
        /// Largest that would do.
        high: f64,
        /// Unit with a leading space, or nothing.
        unit: &'static str,
    },
}

/// Passes what lies within the limits; NaN and the infinities never do.
pub(super) fn within(
    name: &'static str,
    got: f64,
    (low, high): (f64, f64),
    unit: &'static str,
) -> Result<f64, RouteFault> {
    if (low..=high).contains(&got) {
        Ok(got)
    } else {
        Err(RouteFault::Number { name, got, low, high, unit })
    }
}

impl MapperSettings {
    /// What holds for the display as a whole.
    pub(super) fn check_display(&self) -> Result<(), MapperError> {
        if self.places.is_empty() {
            return Err(MapperError::NoCoils);
        }
        let allowed = PLACE_LIMITS_MM.0..=PLACE_LIMITS_MM.1;
        for (coil, place) in (0..).map(CoilId).zip(&self.places) {
            let (x_mm, y_mm) = (place.x_mm.0, place.y_mm.0);
            if !allowed.contains(&x_mm) || !allowed.contains(&y_mm) {
                return Err(MapperError::Place { coil, x_mm, y_mm });
            }
        }
        if !(TIME_LIMITS_S.0..=TIME_LIMITS_S.1).contains(&self.rest_s.0) {
            return Err(MapperError::Rest { got_s: self.rest_s.0 });
        }
        self.check_levels()
    }

    fn check_levels(&self) -> Result<(), MapperError> {
        if !(0.0..=1.0).contains(&self.master) {
            return Err(MapperError::Master { got: self.master });
        }
        let (got, coils) = (self.trims.len(), self.places.len());
        if got != coils {
            return Err(MapperError::TrimCount { got, coils });
        }
        let trims = (0..).map(CoilId).zip(&self.trims);
        for (coil, &got) in trims {
            if !(0.0..=1.0).contains(&got) {
                return Err(MapperError::Trim { coil, got });
            }
        }
        Ok(())
    }

    /// For whoever knows how many bands are measured: every route names bands that exist.
    ///
    /// # Errors
    /// The first route that does not.
    pub fn check_bands(&self, bands: usize) -> Result<(), MapperError> {
        for (route, settings) in self.routes.iter().enumerate() {
            if let Some(&band) = settings.bands.iter().find(|&&band| band >= bands) {
                let fault = RouteFault::UnknownBand { band, bands };
                return Err(MapperError::Route { route, fault });
            }
        }
        Ok(())
    }

    /// The same for ears.
    ///
    /// # Errors
    /// The first that is not there.
    pub fn check_ears(&self, ears: usize) -> Result<(), MapperError> {
        let routes = (1_usize..).zip(&self.routes);
        let of_routes = routes.map(|(number, it)| (format!("route {number}"), it.ear()));
        let of_passages = match self.passages {
            Passages::Even => None,
            Passages::Kept { ear, .. } => Some(ear),
        };
        let all = of_routes.chain([("passages".to_owned(), of_passages)]);
        for (who, ear) in all.filter_map(|(who, ear)| Some((who, ear?))) {
            if ear >= ears {
                return Err(MapperError::UnknownEar { who, ear, ears });
            }
        }
        Ok(())
    }
}
