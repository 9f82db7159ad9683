//! `outward`: what is heard leaves a point and travels outward, like a ring on water.
//!
//! A coil does now what the value was when the front that reaches it now left the point: its
//! distance over the speed ago, in whole frames. A route remembers as many frames as its farthest
//! coil needs.

use super::group::Group;
use crate::mapper::error::{RouteFault, within};
use crate::mapper::settings::{LONGEST_FRONT_S, Place};
use crate::units::Rate;

/// How fast a front may travel, mm/s.
const SPEED_LIMITS_MM_PER_S: (f64, f64) = (1.0, 1e6);

/// Where the point may lie, mm: as for places.
const POINT_LIMITS_MM: (f64, f64) = (-100_000.0, 100_000.0);

/// What may be lost on a metre; all of it would leave nothing anywhere.
const FADE_LIMITS: (f64, f64) = (0.0, 0.999);

#[derive(Debug)]
pub(in crate::mapper) struct Outward {
    coils: Box<[Reached]>,
    /// The newest values, one a frame, written round and round.
    past: Box<[f64]>,
    newest: usize,
}

/// A coil that fronts reach.
#[derive(Debug, Clone, Copy)]
struct Reached {
    coil: usize,
    /// Frames from the point to here.
    delay: usize,
    /// What is left of a front here.
    part: f64,
}

impl Outward {
    pub(super) fn new(
        group: &Group,
        from: Place,
        speed_mm_per_s: f64,
        fade_per_m: f64,
        rate: Rate,
    ) -> Result<Self, RouteFault> {
        within("from_mm", from.x_mm.0, POINT_LIMITS_MM, " mm")?;
        within("from_mm", from.y_mm.0, POINT_LIMITS_MM, " mm")?;
        within("mm_per_s", speed_mm_per_s, SPEED_LIMITS_MM_PER_S, " mm/s")?;
        within("fade_per_m", fade_per_m, FADE_LIMITS, "")?;
        let farthest_mm = group.distances(from).map(|(_, mm)| mm).fold(0.0, f64::max);
        let longest_s = farthest_mm / speed_mm_per_s;
        if longest_s > LONGEST_FRONT_S {
            let at_least = farthest_mm / LONGEST_FRONT_S;
            return Err(RouteFault::Late { longest_s, at_least });
        }
        let reached = |(coil, mm): (usize, f64)| {
            let frames = (mm / speed_mm_per_s * rate.per_second()).round();
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "0 to 10 s at no more than 1000 frames a second"
            )]
            let delay = frames as usize;
            Reached { coil, delay, part: libm::pow(1.0 - fade_per_m, mm / 1000.0) }
        };
        let coils: Box<[Reached]> = group.distances(from).map(reached).collect();
        let longest = coils.iter().map(|it| it.delay).max().unwrap_or(0);
        Ok(Self { coils, past: vec![0.0; longest + 1].into(), newest: 0 })
    }

    pub(super) fn follow(&mut self, value: f64) {
        self.newest = (self.newest + 1) % self.past.len();
        if let Some(newest) = self.past.get_mut(self.newest) {
            *newest = value;
        }
    }

    pub(super) fn ask(&self, put: &mut impl FnMut(usize, f64)) {
        for it in &self.coils {
            let frame = (self.newest + self.past.len() - it.delay) % self.past.len();
            let value = self.past.get(frame).copied().unwrap_or(0.0);
            put(it.coil, value * it.part);
        }
    }
}
