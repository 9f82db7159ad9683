//! Motions: how a route's values spread over the coils of its group.
//!
//! Everything that depends on places is worked out once, in [`Spread::new`]. A coil's position is
//! its place projected on the motion's axis, from 0 at the first coil to the group's extent at the
//! last, in mm.
//!
//! The front of a column stands at `value * (extent + edge) - edge/2`: at 0 its whole edge lies
//! before the first coil, at 1 behind the last, so that 0 moves nothing, 1 moves every coil fully,
//! and one coil alone simply follows the value. A coil's share falls from 1 to 0 across the edge.

use super::error::{RouteFault, within};
use super::settings::{MotionSettings, Place, RouteSettings};
use crate::units::CoilId;

/// Axes: any number of turns a person may write.
const AXIS_LIMITS_DEG: (f64, f64) = (-3600.0, 3600.0);

/// Width of a column's edge, mm.
const EDGE_LIMITS_MM: (f64, f64) = (0.0, 100_000.0);

/// Narrowest edge as a share of the extent: keeps the motion continuous.
const NARROWEST_EDGE: f64 = 1e-3;

/// Lengths along an axis below this are rounding, mm.
const NO_EXTENT_MM: f64 = 1e-6;

/// A motion over a group's coils, ready to use.
#[derive(Debug, Clone)]
pub(super) enum Spread {
    /// All alike.
    Level { coils: Box<[usize]>, weight: f64 },
    /// A ramp in the value for every coil.
    Column { ramps: Box<[Ramp]>, weight: f64 },
    /// A mix of two bands for every coil.
    Along { mixes: Box<[Mix]> },
}

/// A coil in a column: nothing up to `start`, everything from `full`, straight between.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ramp {
    coil: usize,
    start: f64,
    full: f64,
    /// 1 / (full - start)
    slope: f64,
}

/// A coil among bands: its two nearest and their parts, weight included.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mix {
    coil: usize,
    low: usize,
    low_part: f64,
    high_part: f64,
}

impl Spread {
    pub(super) fn new(
        route: &RouteSettings,
        places: &[Place],
        weight: f64,
    ) -> Result<Self, RouteFault> {
        let bands = route.bands.len();
        let group = Group::new(&route.coils, places)?;
        match route.motion {
            MotionSettings::LevelAll => {
                one_band("level_all", bands)?;
                Ok(Self::Level {
                    coils: group.members.iter().map(|&(coil, _)| coil).collect(),
                    weight,
                })
            }
            MotionSettings::Column { towards_deg, edge_mm } => {
                one_band("column", bands)?;
                let edge_mm = within("edge_mm", edge_mm.0, EDGE_LIMITS_MM, " mm")?;
                Ok(Self::Column { ramps: group.along(towards_deg)?.ramps(edge_mm), weight })
            }
            MotionSettings::Along { towards_deg } => {
                if bands < 2 {
                    let takes = "two bands or more";
                    return Err(RouteFault::BandCount { motion: "along", takes, got: bands });
                }
                let line = group.along(towards_deg)?;
                if line.extent_mm < NO_EXTENT_MM {
                    return Err(RouteFault::NoExtent { towards_deg });
                }
                Ok(Self::Along { mixes: line.mixes(bands, weight) })
            }
        }
    }

    /// Combines what `values` (one per band) ask of each coil with what is in `asked`.
    pub(super) fn ask(&self, values: &[f64], asked: &mut [f64], combine: impl Fn(f64, f64) -> f64) {
        let value_of = |band: usize| values.get(band).copied().unwrap_or(0.0);
        let mut put = |coil: usize, wish: f64| {
            if let Some(asked) = asked.get_mut(coil) {
                *asked = combine(*asked, wish);
            }
        };
        match self {
            Self::Level { coils, weight } => {
                let wish = weight * value_of(0);
                coils.iter().for_each(|&coil| put(coil, wish));
            }
            Self::Column { ramps, weight } => {
                let value = value_of(0);
                ramps.iter().for_each(|ramp| put(ramp.coil, weight * ramp.share(value)));
            }
            Self::Along { mixes } => {
                for mix in mixes {
                    let (low, high) = (value_of(mix.low), value_of(mix.low + 1));
                    put(mix.coil, mix.low_part * low + mix.high_part * high);
                }
            }
        }
    }
}

fn one_band(motion: &'static str, got: usize) -> Result<(), RouteFault> {
    if got == 1 { Ok(()) } else { Err(RouteFault::BandCount { motion, takes: "one band", got }) }
}

impl Ramp {
    fn share(&self, value: f64) -> f64 {
        // The first branch makes full exactly 1; the product may round to just below.
        if value >= self.full { 1.0 } else { ((value - self.start) * self.slope).clamp(0.0, 1.0) }
    }
}

/// A route's coils: index and place of each.
struct Group {
    members: Vec<(usize, Place)>,
}

impl Group {
    fn new(coils: &[CoilId], places: &[Place]) -> Result<Self, RouteFault> {
        if coils.is_empty() {
            return Err(RouteFault::NoCoils);
        }
        let mut named = vec![false; places.len()];
        let mut members = Vec::with_capacity(coils.len());
        for &coil in coils {
            let at = coil.index();
            let unknown = || RouteFault::UnknownCoil { coil, coils: places.len() };
            let named = named.get_mut(at).ok_or_else(unknown)?;
            let place = places.get(at).ok_or_else(unknown)?;
            if std::mem::replace(named, true) {
                return Err(RouteFault::RepeatedCoil { coil });
            }
            members.push((at, *place));
        }
        Ok(Self { members })
    }

    /// The group seen along an axis.
    fn along(&self, towards_deg: f64) -> Result<Line, RouteFault> {
        within("towards_deg", towards_deg, AXIS_LIMITS_DEG, " degrees")?;
        let angle = towards_deg.to_radians();
        let (right, up) = (without_rounding(libm::cos(angle)), without_rounding(libm::sin(angle)));
        let projected: Vec<f64> =
            self.members.iter().map(|(_, at)| at.x_mm.0 * right + at.y_mm.0 * up).collect();
        let first = projected.iter().copied().fold(f64::INFINITY, f64::min);
        let last = projected.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let coils = self.members.iter().map(|&(coil, _)| coil);
        let coils = coils.zip(projected.iter().map(|at| at - first)).collect();
        Ok(Line { coils, extent_mm: last - first })
    }
}

/// The cosine of a right angle is 0, not 6e-17: coils in a row stand level.
fn without_rounding(part: f64) -> f64 {
    if part.abs() < 1e-12 { 0.0 } else { part }
}

/// A group along an axis: index and position of each coil, 0 to the extent.
struct Line {
    coils: Vec<(usize, f64)>,
    extent_mm: f64,
}

impl Line {
    fn ramps(&self, edge_mm: f64) -> Box<[Ramp]> {
        let edge_mm = edge_mm.max(self.extent_mm * NARROWEST_EDGE).max(NO_EXTENT_MM);
        let travel_mm = self.extent_mm + edge_mm;
        let ramp = |&(coil, at_mm): &(usize, f64)| {
            let start = at_mm / travel_mm;
            let full = (at_mm + edge_mm) / travel_mm;
            Ramp { coil, start, full, slope: 1.0 / (full - start) }
        };
        self.coils.iter().map(ramp).collect()
    }

    /// Bands' centres evenly from the first coil to the last.
    fn mixes(&self, bands: usize, weight: f64) -> Box<[Mix]> {
        let last = bands.saturating_sub(1);
        let mix = |&(coil, at_mm): &(usize, f64)| {
            let at = at_mm / self.extent_mm * last as f64;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "0 to the number of bands; a cast saturates"
            )]
            let low = (at.floor() as usize).min(last.saturating_sub(1));
            let high_part = at - low as f64;
            Mix { coil, low, low_part: weight * (1.0 - high_part), high_part: weight * high_part }
        };
        self.coils.iter().map(mix).collect()
    }
}

#[cfg(test)]
#[path = "motion_tests.rs"]
mod tests;
