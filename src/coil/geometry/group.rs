//! Equal coils joined to one load.

use core::num::NonZeroU32;

use crate::units::{Henries, Ohms};

/// Strings of coils in series, strings in parallel. Coils too far apart to matter to each other: at one
/// coil diameter the mutual inductance is some 2 % (an estimate from dipoles).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group {
    /// Coils one after another in each string.
    pub series: NonZeroU32,
    /// Strings side by side.
    pub parallel: NonZeroU32,
}

impl Group {
    /// `None` for a group without coils.
    pub fn new(series: u32, parallel: u32) -> Option<Self> {
        let (series, parallel) = (NonZeroU32::new(series)?, NonZeroU32::new(parallel)?);
        Some(Self { series, parallel })
    }

    /// Of all together; L/R stays that of one coil.
    pub fn load(&self, resistance: Ohms, inductance: Henries) -> (Ohms, Henries) {
        let factor = f64::from(self.series.get()) / f64::from(self.parallel.get());
        (Ohms(resistance.0 * factor), Henries(inductance.0 * factor))
    }

    /// Share of the group's current that each coil gets.
    pub fn current_share(&self) -> f64 {
        1.0 / f64::from(self.parallel.get())
    }
}
