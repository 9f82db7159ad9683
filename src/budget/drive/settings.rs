//! What a wish asks of a coil: a share of full duty, or a share of its pull on the fluid.

use crate::coil::lift::PullLaw;
use crate::units::{Amps, Seconds, Volts};

/// How a wish becomes a current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pull {
    /// A share of full duty, whatever the fluid makes of it.
    Straight,
    /// A share of the pull that a known law gives.
    Law(PullSettings),
}

/// A coil whose pull on the fluid is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PullSettings {
    /// Pull over weight against current, as a share of `full`.
    pub law: PullLaw,
    /// The current that the law calls 1.
    pub full: Amps,
    /// Where a full wish lies, as a share of `full`.
    pub most_u: f64,
    /// Pull at which lifted fluid drops, over that at which it lifts, 0 to 1.
    pub drop_share: f64,
    /// Lost in the switch while it is on.
    pub switch_drop: Volts,
    /// Lost in the freewheel path while the switch is off.
    pub freewheel_drop: Volts,
    /// How long full pull takes to lift the fluid. As long without the pull that holds it counts as
    /// fallen.
    pub rise: Seconds,
    /// Length of the opposing pulse that lets go of fluid which the magnet alone would hold, on
    /// drivers that work both ways; 0: none.
    pub release: Seconds,
    /// What wishes of 0 to 1 span.
    pub range: PullRange,
}

/// What wishes of 0 to 1 span. Negative wishes always span the pull from rest down to the least
/// that an opposing current makes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PullRange {
    /// The pull from rest (the magnet alone) to that of the most current, in a straight line.
    FromRest,
    /// The pull that just lifts to that of the most current; nothing at no wish.
    FromLift,
    /// Up or down: a wish of `at` or more pulls in with the most current until the fluid has risen
    /// and then holds it. Smaller wishes span the pull from rest to where it would lift.
    Held {
        /// How much more pull than drops the fluid holds it, as a share of that.
        margin: f64,
        /// The wish from which fluid is lifted, above 0, at most 1.
        at: f64,
    },
}

impl PullSettings {
    /// The wish from which a straight line from rest to the most pull lifts the fluid; above 1 where
    /// it never does.
    pub fn lift_wish(&self, two_way: bool) -> f64 {
        let q0 = self.law.q0;
        (1.0 - q0) / (super::curve::Curve::new(self, two_way).highest() - q0)
    }
}
