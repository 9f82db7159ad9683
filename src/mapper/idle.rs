//! Idle motion: a slow, small swell while nothing plays, so that a display is not dead between songs.
//!
//! Its phase is the number of the frame over the period, so the same frame always looks the same.
//! Breathing coils do `level * (1 - cos(phase))/2` together. A wandering swell is the product of two
//! such waves, one crossing the group from left to right in a period, the other upwards, slower by
//! the golden ratio, so that it takes long to come back to where it was.

use super::error::{RouteFault, within};
use super::settings::{IdleSettings, Place};
use crate::units::Rate;

/// Highest wish: idle motion is to be seen, not to heat.
const LEVEL_LIMITS: (f64, f64) = (0.0, 0.3);

/// Time of a swell, s.
const PERIOD_LIMITS_S: (f64, f64) = (1.0, 600.0);

/// How many times slower a wandering swell rises than it crosses: the golden ratio, the number
/// that fractions approach worst.
const SLOWER: f64 = 1.618_033_988_749_895;

/// Extents below this are rounding, mm.
const NO_EXTENT_MM: f64 = 1e-6;

/// The swell, and how much of it shows.
#[derive(Debug)]
pub(super) struct Idle {
    level: f64,
    wander: bool,
    /// Coil and its place in the group, 0 to 1 from left to right and from the bottom up.
    coils: Box<[(usize, f64, f64)]>,
    /// Part of a period that a frame takes.
    step: f64,
    frame: u64,
    /// 0 while something plays, 1 a period after all came to rest.
    gain: f64,
}

impl Idle {
    pub(super) fn new(
        settings: &IdleSettings,
        places: &[Place],
        rate: Rate,
    ) -> Result<Self, RouteFault> {
        let level = within("level", settings.level, LEVEL_LIMITS, "")?;
        let period_s = within("period_s", settings.period_s.0, PERIOD_LIMITS_S, " s")?;
        let mut named = vec![false; places.len()];
        let mut members = Vec::with_capacity(settings.coils.len());
        for &coil in &settings.coils {
            let unknown = || RouteFault::UnknownCoil { coil, coils: places.len() };
            let place = places.get(coil.index()).ok_or_else(unknown)?;
            let named = named.get_mut(coil.index()).ok_or_else(unknown)?;
            if std::mem::replace(named, true) {
                return Err(RouteFault::RepeatedCoil { coil });
            }
            members.push((coil.index(), place.x_mm.0, place.y_mm.0));
        }
        let across = part_of(members.iter().map(|&(_, x, _)| x));
        let up = part_of(members.iter().map(|&(_, _, y)| y));
        let coils = members.iter().map(|&(coil, x, y)| (coil, across(x), up(y))).collect();
        let step = rate.period().0 / period_s;
        Ok(Self { level, wander: settings.wander, coils, step, frame: 0, gain: 0.0 })
    }

    /// Goes on by one frame, at rest or not, and says whether anything moves.
    pub(super) fn follow(&mut self, at_rest: bool) -> bool {
        self.frame = self.frame.saturating_add(1);
        self.gain = if at_rest { (self.gain + self.step).min(1.0) } else { 0.0 };
        self.gain > 0.0 && self.level > 0.0
    }

    /// Puts a wish to every coil that moves.
    pub(super) fn ask(&self, mut put: impl FnMut(usize, f64)) {
        let periods = self.frame as f64 * self.step;
        let (height, slow) = (self.gain * self.level, periods / SLOWER);
        if !self.wander {
            let wish = height * swell(periods);
            self.coils.iter().for_each(|&(coil, ..)| put(coil, wish));
            return;
        }
        for &(coil, across, up) in &self.coils {
            put(coil, height * swell(periods - across) * swell(slow - up));
        }
    }
}

/// 0 to 1 and back in one period.
fn swell(periods: f64) -> f64 {
    let part = periods - periods.floor();
    (1.0 - libm::cos(std::f64::consts::TAU * part)) / 2.0
}

/// Where a position lies between the least and the greatest of all, 0 to 1; 0 where all are level.
fn part_of(all: impl Iterator<Item = f64> + Clone) -> impl Fn(f64) -> f64 {
    let first = all.clone().fold(f64::INFINITY, f64::min);
    let extent = all.fold(f64::NEG_INFINITY, f64::max) - first;
    move |at| if extent > NO_EXTENT_MM { (at - first) / extent } else { 0.0 }
}

#[cfg(test)]
#[path = "idle_tests.rs"]
mod tests;
