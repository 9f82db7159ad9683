//! The fixed clamp: what a display would do with no model of heat at all, for comparison.
//!
//! Without a model, the only safe rule is to hold every duty to what its coil stands for ever when
//! all coils are driven so. Whatever a limiter grants above that is what the model gained.

use super::check::check;
use super::rises::nominal_full_power;
use super::{Budget, BudgetError, BudgetSettings, Polarity};
use crate::coil::chords::Chords;
use crate::coil::copper::COPPER_K_C;
use crate::units::Share;

/// One coil under the clamp.
#[derive(Debug, Clone, Copy)]
struct Held {
    most: f64,
    two_way: bool,
    full_w: f64,
    table: usize,
}

/// The clamp of one display.
#[derive(Debug, Clone)]
pub struct Clamp {
    coils: Vec<Held>,
    tables: Vec<Chords>,
}

impl Clamp {
    /// Of a display as the limiter sees it, margins and all.
    ///
    /// # Errors
    /// As [`Budget::new`].
    pub fn new(settings: &BudgetSettings) -> Result<Self, BudgetError> {
        check(settings)?;
        let budget = Budget::new(settings)?;
        let mut speeds: Vec<u64> =
            settings.coils.iter().map(|coil| coil.period_over_tau.to_bits()).collect();
        speeds.sort_unstable();
        speeds.dedup();
        let tables: Vec<Chords> =
            speeds.iter().map(|&bits| Chords::new(f64::from_bits(bits))).collect();
        let coils = settings.coils.iter().zip(budget.bound_c()).map(|(coil, bound_c)| {
            let bits = coil.period_over_tau.to_bits();
            let table = speeds.partition_point(|&other| other < bits);
            // At its bound a winding takes less power at the same duty.
            let warm = (COPPER_K_C + bound_c) / (COPPER_K_C + settings.room.0);
            let share = budget.floor_share() * warm;
            Held {
                most: tables.get(table).map_or(0.0, |chords| chords.duty(share)),
                two_way: coil.polarity == Polarity::SignMagnitude,
                full_w: nominal_full_power(settings, coil).0,
                table,
            }
        });
        Ok(Self { coils: coils.collect(), tables })
    }

    /// The size of a wish as far as the coil's driver can push that way.
    pub fn size(&self, coil: usize, wish: Share) -> f64 {
        let two_way = self.coils.get(coil).is_some_and(|held| held.two_way);
        if two_way { wish.get().abs() } else { wish.get().max(0.0) }
    }

    /// The duty that a coil may have for ever.
    pub fn most(&self, coil: usize) -> f64 {
        self.coils.get(coil).map_or(0.0, |held| held.most)
    }

    /// Heat share of a duty.
    pub fn heat(&self, coil: usize, duty: f64) -> f64 {
        let held = self.coils.get(coil);
        held.and_then(|held| self.tables.get(held.table)).map_or(0.0, |chords| chords.heat(duty))
    }

    /// Power of full duty at room temperature, as stated (no margin, no power factor), W.
    pub fn full_w(&self, coil: usize) -> f64 {
        self.coils.get(coil).map_or(0.0, |held| held.full_w)
    }
}
