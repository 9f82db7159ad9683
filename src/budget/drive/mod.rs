//! Wishes and powers in the driver's own steps.
//!
//! Everything rounds toward off, so a compare value never asks for more than was wished or
//! allowed, and all powers are those of the compare value that is really sent.
//!
//! A coil whose pull on the fluid is known ([`settings`]) takes a wish as a share of that pull: the law
//! read backwards ([`curve`]) gives a current, the winding's temperature and the diode's drop a duty
//! ([`means`]), and a [`lifter`] pulls in, holds and lets go. [`told`] says what that comes to.

mod curve;
mod lifter;
mod lifters;
mod means;
mod refuse;
mod settings;
mod told;

pub(super) use lifters::Lifters;
pub(super) use refuse::check_pull;
pub use refuse::{PullFault, pull_fault};
pub use settings::{Pull, PullRange, PullSettings};
pub use told::{PullReport, pull_reports};

use super::{CoilBudget, Polarity};
use crate::coil::chords::Chords;
use crate::units::Share;

/// A wish that misses a step by no more than this, in steps, is that step: k/steps is not always
/// k steps after rounding.
const HAIR: f64 = 1e-9;

/// What one coil asks of its driver in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ask {
    /// Compare value without its sign, and the sign.
    pub code: u32,
    pub backwards: bool,
    /// The duty that was wished for, above 1 where full duty is not enough.
    pub wanted: f64,
    /// What the coil does not even ask for, after it was denied again and again.
    pub denied: Denied,
}

/// A compare value that was denied so often that a coil rests, and by what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Denied {
    Nothing,
    Heat(u32),
    Rail(u32),
}

impl Ask {
    /// Nothing.
    pub(super) const OFF: Self =
        Self { code: 0, backwards: false, wanted: 0.0, denied: Denied::Nothing };
}

/// One coil's driver.
#[derive(Debug, Clone, Copy)]
struct Driver {
    steps: f64,
    per_step: f64,
    two_way: bool,
    least: u32,
    table: usize,
}

impl Driver {
    fn new(polarity: Polarity, steps: u16, least_duty: f64, table: usize) -> Self {
        let steps = f64::from(steps);
        Self {
            steps,
            per_step: steps.recip(),
            two_way: polarity == Polarity::SignMagnitude,
            least: whole_steps(libm::ceil(least_duty * steps - HAIR)),
            table,
        }
    }
}

/// The drivers of all coils, and one heat table for each PWM speed among them.
#[derive(Debug, Clone)]
pub(super) struct Drivers {
    drivers: Vec<Driver>,
    tables: Vec<Chords>,
}

impl Drivers {
    /// From checked coils.
    pub(super) fn new(coils: &[CoilBudget]) -> Self {
        let mut speeds: Vec<u64> =
            coils.iter().map(|coil| coil.period_over_tau.to_bits()).collect();
        speeds.sort_unstable();
        speeds.dedup();
        let driver = |coil: &CoilBudget| {
            let table = speeds.partition_point(|&bits| bits < coil.period_over_tau.to_bits());
            Driver::new(coil.polarity, coil.steps, coil.least_duty, table)
        };
        Self {
            drivers: coils.iter().map(driver).collect(),
            tables: speeds.iter().map(|&bits| Chords::new(f64::from_bits(bits))).collect(),
        }
    }

    /// The driver of one coil with its heat table.
    pub(super) fn of(&self, coil: usize) -> Option<Wired<'_>> {
        let driver = *self.drivers.get(coil)?;
        Some(Wired { driver, chords: self.tables.get(driver.table)? })
    }

    /// Every driver, in display order.
    #[expect(clippy::indexing_slicing, reason = "each driver's table was made from its own coil")]
    pub(super) fn all(&self) -> impl Iterator<Item = Wired<'_>> {
        let tables = self.tables.as_slice();
        self.drivers.iter().map(|&driver| Wired { driver, chords: &tables[driver.table] })
    }
}

/// One driver with the heat table of its coil.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wired<'a> {
    driver: Driver,
    chords: &'a Chords,
}

impl Wired<'_> {
    /// What a wish for a share of full duty asks for.
    pub(super) fn straight(&self, wish: Share) -> Ask {
        Ask {
            code: self.asked(wish),
            backwards: wish.get() < 0.0,
            wanted: wish.get().abs(),
            denied: Denied::Nothing,
        }
    }

    /// A duty in steps, not yet whole, as far as the driver goes.
    fn steps(&self, duty: f64) -> f64 {
        (duty * self.driver.steps).min(self.driver.steps)
    }

    /// The largest compare value that does not pass a duty.
    pub(super) fn whole(&self, duty: f64) -> u32 {
        whole_steps(self.steps(duty) + HAIR)
    }

    /// The least compare value that the driver makes.
    pub(super) fn least(&self) -> u32 {
        self.driver.least
    }

    /// Whether the driver pushes both ways.
    fn two_way(&self) -> bool {
        self.driver.two_way
    }

    /// The compare value, without its sign, that a wish asks for.
    fn asked(&self, wish: Share) -> u32 {
        let (size, steps) = (wish.get(), self.driver.steps);
        let size = if self.driver.two_way { size.abs() } else { size };
        // Below 0 becomes 0 steps.
        let asked = size * steps + HAIR;
        whole_steps(if asked < steps { asked } else { steps })
    }

    /// The largest compare value whose heat share does not pass `heat`.
    pub(super) fn within(&self, heat: f64) -> u32 {
        whole_steps(self.chords.duty(heat) * self.driver.steps)
    }

    /// The power of a gain on duty with which heat falls: 1 for slow PWM, 2 for smooth current, read
    /// off at half duty.
    pub(super) fn power_of_gain(&self) -> f64 {
        (-libm::log2(self.chords.heat(0.5))).clamp(1.0, 2.0)
    }

    /// The compare value as the driver makes it: a pulse that is too short for it becomes none.
    pub(super) fn made(&self, code: u32) -> u32 {
        if code < self.driver.least { 0 } else { code }
    }

    /// Duty of a compare value.
    pub(super) fn duty(&self, code: u32) -> f64 {
        f64::from(code) * self.driver.per_step
    }

    /// Heat share of a compare value.
    pub(super) fn heat(&self, code: u32) -> f64 {
        self.chords.heat(self.duty(code))
    }
}

/// The compare value with its direction.
pub(super) fn signed(code: u32, backwards: bool) -> i32 {
    let code = i32::try_from(code).unwrap_or(0);
    if backwards { -code } else { code }
}

/// Rounded toward off.
#[expect(clippy::cast_possible_truncation, reason = "callers pass 0 to 65535")]
fn signed_steps(steps: f64) -> i32 {
    (steps + HAIR) as i32
}

#[expect(clippy::cast_possible_truncation, reason = "rounding toward off is the purpose")]
#[expect(clippy::cast_sign_loss, reason = "callers pass 0 to 65535")]
fn whole_steps(steps: f64) -> u32 {
    steps as u32
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "exact by construction")]
mod tests {
    use super::*;

    /// One coil's driver, at slow PWM.
    fn one(polarity: Polarity, steps: u16, least_duty: f64) -> Drivers {
        let driver = Driver::new(polarity, steps, least_duty, 0);
        Drivers { drivers: vec![driver], tables: vec![Chords::new(f64::INFINITY)] }
    }

    #[test]
    fn every_step_can_be_wished_for_and_is_not_passed() {
        for steps in [1, 7, 100, 255, 4095, 65535] {
            let drivers = one(Polarity::Unipolar, steps, 0.0);
            let wired = drivers.of(0).unwrap_or_else(|| unreachable!("one coil was given"));
            for code in 0..=u32::from(steps) {
                let wish = Share::saturating(f64::from(code) / f64::from(steps));
                assert_eq!(wired.asked(wish), code);
                let less = Share::saturating(wish.get() - 1e-6);
                assert_eq!(wired.asked(less), code.saturating_sub(1));
                assert!(wired.within(wired.heat(code)) <= code);
            }
        }
    }

    #[test]
    fn pulses_too_short_for_the_driver_become_none_and_the_others_stay() {
        // 0.02 of 255 steps are 5.1: step 5 is too short, step 6 is not. 0.2 of 100 is step 20.
        for (steps, least_duty, least) in [(255, 0.02, 6), (100, 0.2, 20), (7, 0.0, 0), (9, 1.0, 9)]
        {
            let drivers = one(Polarity::Unipolar, steps, least_duty);
            let wired = drivers.of(0).unwrap_or_else(|| unreachable!("one coil was given"));
            for code in 0..=u32::from(steps) {
                assert_eq!(wired.made(code), if code < least { 0 } else { code }, "of {steps}");
            }
        }
    }

    #[test]
    fn only_a_bridge_hears_a_negative_wish() {
        let back = Share::saturating(-0.5);
        for (polarity, code) in [(Polarity::Unipolar, 0), (Polarity::SignMagnitude, 100)] {
            assert!(one(polarity, 200, 0.0).all().all(|wired| wired.asked(back) == code));
        }
        assert_eq!((signed(100, true), signed(100, false)), (-100, 100));
    }
}
