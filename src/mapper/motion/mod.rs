//! Motions: how a route's values spread over the coils of its group.
//!
//! Everything that depends on places is worked out once, in [`Spread::new`]. Each frame a motion
//! first [follows](Spread::follow) the values of its bands, then [asks](Spread::ask): it names a
//! share, 0 to 1, for every coil of its group. One file each; what they share of geometry is in
//! `group`.

mod along;
mod carry;
mod column;
mod group;
mod outward;
#[cfg(test)]
mod tests;

use super::error::RouteFault;
use super::settings::{MotionSettings, Place, RouteSettings};
use crate::units::Rate;

use along::Along;
use carry::Carry;
use column::Column;
use group::Group;
use outward::Outward;

/// Lengths below this are rounding, mm.
const NO_EXTENT_MM: f64 = 1e-6;

/// A motion over a group's coils, ready to use.
#[derive(Debug)]
pub(super) enum Spread {
    /// All alike.
    Level(Box<[usize]>),
    /// A front that rises.
    Column(Column),
    /// Bands side by side.
    Along(Along),
    /// A spot handed on.
    Carry(Carry),
    /// A front that leaves a point.
    Outward(Outward),
}

impl Spread {
    pub(super) fn new(
        route: &RouteSettings,
        places: &[Place],
        rate: Rate,
    ) -> Result<Self, RouteFault> {
        let bands = route.values();
        let group = Group::new(&route.coils, places)?;
        match route.motion {
            MotionSettings::LevelAll => {
                one_band("level_all", bands)?;
                Ok(Self::Level(group.coils().collect()))
            }
            MotionSettings::Column { towards_deg, edge_mm } => {
                one_band("column", bands)?;
                Column::new(&group, towards_deg, edge_mm).map(Self::Column)
            }
            MotionSettings::Along { towards_deg } => {
                Along::new(&group, towards_deg, bands).map(Self::Along)
            }
            MotionSettings::Carry { path, spot_mm, fastest_mm_per_s } => {
                if bands == 0 {
                    let takes = "one band or more";
                    return Err(RouteFault::BandCount { motion: "carry", takes, got: bands });
                }
                Carry::new(&group.path(path)?, spot_mm, fastest_mm_per_s, rate).map(Self::Carry)
            }
            MotionSettings::Outward { from, speed_mm_per_s, fade_per_m } => {
                one_band("outward", bands)?;
                Outward::new(&group, from, speed_mm_per_s, fade_per_m, rate).map(Self::Outward)
            }
        }
    }

    /// Goes on by one frame in which the bands' values are these, 0 to 1 each.
    pub(super) fn follow(&mut self, values: &[f64]) {
        match self {
            Self::Level(_) | Self::Column(_) | Self::Along(_) => {}
            Self::Carry(carry) => carry.follow(values),
            Self::Outward(outward) => outward.follow(first(values)),
        }
    }

    /// Puts a share, 0 to 1, to every coil of the group.
    pub(super) fn ask(&self, values: &[f64], put: &mut impl FnMut(usize, f64)) {
        match self {
            Self::Level(coils) => coils.iter().for_each(|&coil| put(coil, first(values))),
            Self::Column(column) => column.ask(first(values), put),
            Self::Along(along) => along.ask(values, put),
            Self::Carry(carry) => carry.ask(put),
            Self::Outward(outward) => outward.ask(put),
        }
    }
}

fn first(values: &[f64]) -> f64 {
    values.first().copied().unwrap_or(0.0)
}

fn one_band(motion: &'static str, got: usize) -> Result<(), RouteFault> {
    if got == 1 { Ok(()) } else { Err(RouteFault::BandCount { motion, takes: "one band", got }) }
}
