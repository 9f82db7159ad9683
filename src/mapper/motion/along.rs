//! `along`: bands laid out along an axis, each coil moved by the two bands nearest to its place.

use super::NO_EXTENT_MM;
use super::group::Group;
use crate::mapper::error::RouteFault;

/// A mix of two bands for every coil.
#[derive(Debug)]
pub(in crate::mapper) struct Along(Box<[Mix]>);

/// A coil among bands: its two nearest and how far it stands towards the higher.
#[derive(Debug, Clone, Copy)]
struct Mix {
    coil: usize,
    low: usize,
    low_part: f64,
    high_part: f64,
}

impl Along {
    /// Bands' centres stand evenly from the first coil to the last.
    pub(super) fn new(group: &Group, towards_deg: f64, bands: usize) -> Result<Self, RouteFault> {
        if bands < 2 {
            let takes = "two bands or more";
            return Err(RouteFault::BandCount { motion: "along", takes, got: bands });
        }
        let line = group.along(towards_deg)?;
        if line.extent_mm < NO_EXTENT_MM {
            return Err(RouteFault::NoExtent { towards_deg });
        }
        let last = bands - 1;
        let mix = |&(coil, at_mm): &(usize, f64)| {
            let at = at_mm / line.extent_mm * last as f64;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "0 to the number of bands; a cast saturates"
            )]
            let low = (at.floor() as usize).min(last - 1);
            let high_part = at - low as f64;
            Mix { coil, low, low_part: 1.0 - high_part, high_part }
        };
        Ok(Self(line.coils.iter().map(mix).collect()))
    }

    pub(super) fn ask(&self, values: &[f64], put: &mut impl FnMut(usize, f64)) {
        let value_of = |band: usize| values.get(band).copied().unwrap_or(0.0);
        for mix in &self.0 {
            let (low, high) = (value_of(mix.low), value_of(mix.low + 1));
            put(mix.coil, mix.low_part * low + mix.high_part * high);
        }
    }
}
