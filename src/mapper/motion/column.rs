//! `column`: a front that rises along an axis as far as the level reaches.
//!
//! The front stands at `value * (extent + edge) - edge/2`: at 0 its whole edge lies before the
//! first coil, at 1 behind the last, so that 0 moves nothing, 1 moves every coil fully, and one
//! coil alone simply follows the value. A coil's share falls from 1 to 0 across the edge.

use super::NO_EXTENT_MM;
use super::group::Group;
use crate::mapper::error::{RouteFault, within};
use crate::units::Millimetres;

/// Width of the edge, mm.
const EDGE_LIMITS_MM: (f64, f64) = (0.0, 100_000.0);

/// Narrowest edge as a share of the extent: keeps the motion continuous.
const NARROWEST_EDGE: f64 = 1e-3;

/// A ramp in the value for every coil.
#[derive(Debug)]
pub(in crate::mapper) struct Column(Box<[Ramp]>);

/// A coil in a column: nothing up to `start`, everything from `full`, straight between.
#[derive(Debug, Clone, Copy)]
struct Ramp {
    coil: usize,
    start: f64,
    full: f64,
    /// 1 / (full - start)
    slope: f64,
}

impl Column {
    pub(super) fn new(
        group: &Group,
        towards_deg: f64,
        edge_mm: Millimetres,
    ) -> Result<Self, RouteFault> {
        let edge_mm = within("edge_mm", edge_mm.0, EDGE_LIMITS_MM, " mm")?;
        let line = group.along(towards_deg)?;
        let edge_mm = edge_mm.max(line.extent_mm * NARROWEST_EDGE).max(NO_EXTENT_MM);
        let travel_mm = line.extent_mm + edge_mm;
        let ramp = |&(coil, at_mm): &(usize, f64)| {
            let start = at_mm / travel_mm;
            let full = (at_mm + edge_mm) / travel_mm;
            Ramp { coil, start, full, slope: 1.0 / (full - start) }
        };
        Ok(Self(line.coils.iter().map(ramp).collect()))
    }

    pub(super) fn ask(&self, value: f64, put: &mut impl FnMut(usize, f64)) {
        self.0.iter().for_each(|ramp| put(ramp.coil, ramp.share(value)));
    }
}

impl Ramp {
    fn share(&self, value: f64) -> f64 {
        // The first branch makes full exactly 1; the product may round to just below.
        if value >= self.full { 1.0 } else { ((value - self.start) * self.slope).clamp(0.0, 1.0) }
    }
}
