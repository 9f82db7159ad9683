//! A route's coils, and where they stand along an axis or around a ring.

use super::NO_EXTENT_MM;
use crate::mapper::error::{RouteFault, within};
use crate::mapper::settings::{Path, Place};
use crate::units::CoilId;

/// Axes: any number of turns a person may write.
const AXIS_LIMITS_DEG: (f64, f64) = (-3600.0, 3600.0);

/// A route's coils: index and place of each.
pub(super) struct Group {
    members: Vec<(usize, Place)>,
}

/// A group along an axis: index and position of each coil, 0 to the extent.
pub(super) struct Line {
    pub(super) coils: Vec<(usize, f64)>,
    pub(super) extent_mm: f64,
}

/// A way that a spot can go: index and position of each coil, 0 to the length.
pub(super) struct Way {
    pub(super) coils: Vec<(usize, f64)>,
    pub(super) length_mm: f64,
    /// Whether its end is its beginning.
    pub(super) closed: bool,
}

impl Group {
    pub(super) fn new(coils: &[CoilId], places: &[Place]) -> Result<Self, RouteFault> {
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

    pub(super) fn coils(&self) -> impl Iterator<Item = usize> + '_ {
        self.members.iter().map(|&(coil, _)| coil)
    }

    /// The group seen along an axis.
    pub(super) fn along(&self, towards_deg: f64) -> Result<Line, RouteFault> {
        within("towards_deg", towards_deg, AXIS_LIMITS_DEG, " degrees")?;
        let angle = towards_deg.to_radians();
        let (right, up) = (without_rounding(libm::cos(angle)), without_rounding(libm::sin(angle)));
        let projected: Vec<f64> =
            self.members.iter().map(|(_, at)| at.x_mm.0 * right + at.y_mm.0 * up).collect();
        let first = projected.iter().copied().fold(f64::INFINITY, f64::min);
        let last = projected.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let coils = self.coils().zip(projected.iter().map(|at| at - first)).collect();
        Ok(Line { coils, extent_mm: last - first })
    }

    /// Coil and distance from a point, mm.
    pub(super) fn distances(&self, from: Place) -> impl Iterator<Item = (usize, f64)> + '_ {
        let (x, y) = (from.x_mm.0, from.y_mm.0);
        self.members
            .iter()
            .map(move |(coil, at)| (*coil, libm::hypot(at.x_mm.0 - x, at.y_mm.0 - y)))
    }

    pub(super) fn path(&self, path: Path) -> Result<Way, RouteFault> {
        match path {
            Path::Axis { towards_deg } => {
                let Line { coils, extent_mm } = self.along(towards_deg)?;
                Ok(Way { coils, length_mm: extent_mm, closed: false })
            }
            Path::Ring { start_deg, clockwise } => self.around(start_deg, clockwise),
        }
    }

    /// The group seen around its middle: positions are angles, measured in mm where the farthest
    /// coil stands, so that nothing moves faster than its speed says.
    fn around(&self, start_deg: f64, clockwise: bool) -> Result<Way, RouteFault> {
        within("start_deg", start_deg, AXIS_LIMITS_DEG, " degrees")?;
        let middle = Place::middle(self.members.iter().map(|(_, place)| *place));
        let (x, y) = (middle.x_mm.0, middle.y_mm.0);
        let radius_mm = self.distances(middle).map(|(_, distance)| distance).fold(0.0, f64::max);
        let length_mm = std::f64::consts::TAU * radius_mm;
        let sense = if clockwise { -1.0 } else { 1.0 };
        let turn = |at: &Place| {
            let angle = libm::atan2(at.y_mm.0 - y, at.x_mm.0 - x);
            let turns = sense * (angle.to_degrees() - start_deg) / 360.0;
            turns - turns.floor()
        };
        let coils = self.members.iter().map(|(coil, at)| (*coil, turn(at) * length_mm));
        let closed = length_mm > NO_EXTENT_MM;
        Ok(Way { coils: coils.collect(), length_mm, closed })
    }
}

/// The cosine of a right angle is 0, not 6e-17: coils in a row stand level.
fn without_rounding(part: f64) -> f64 {
    if part.abs() < 1e-12 { 0.0 } else { part }
}
