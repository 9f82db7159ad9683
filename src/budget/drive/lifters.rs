//! The coils of a display that have a law, with what their windings' temperature does to them.

use super::lifter::Lifter;
use super::means::Means;
use super::settings::{Pull, PullSettings};
use super::{Ask, Drivers, Wired};
use crate::budget::{BudgetSettings, CoilBudget};
use crate::coil::copper::COPPER_K_C;
use crate::units::Share;

/// One coil with a law.
#[derive(Debug, Clone)]
struct Law {
    lifter: Lifter,
    /// Index of its table.
    means: usize,
    /// Mean current of v = 1 over what full duty gives, per kelvin of the copper's K + T.
    mean_per_k: f64,
}

/// All coils, none where there is no law. A display without laws has an empty list.
#[derive(Debug, Clone)]
pub(in crate::budget) struct Lifters {
    coils: Vec<Option<Law>>,
    tables: Vec<Means>,
    room_k: f64,
}

impl Lifters {
    /// From checked settings.
    pub(in crate::budget) fn new(settings: &BudgetSettings, frame_s: f64) -> Self {
        let mut lifters =
            Self { coils: vec![], tables: vec![], room_k: COPPER_K_C + settings.room.0 };
        if settings.coils.iter().all(|coil| coil.pull == Pull::Straight) {
            return lifters;
        }
        let mut keys: Vec<[u64; 2]> = Vec::new();
        for (index, (coil, wired)) in
            settings.coils.iter().zip(Drivers::new(&settings.coils).all()).enumerate()
        {
            let Pull::Law(pull) = &coil.pull else {
                lifters.coils.push(None);
                continue;
            };
            let at = Electric::new(settings, coil, pull);
            let key = [at.x.to_bits(), at.drop.to_bits()];
            let means = keys.iter().position(|known| *known == key).unwrap_or_else(|| {
                keys.push(key);
                lifters.tables.push(at.means());
                keys.len() - 1
            });
            let lifter = Lifter::new(pull, wired.two_way(), index, frame_s);
            lifters.coils.push(Some(Law { lifter, means, mean_per_k: at.mean_per_k }));
        }
        lifters
    }

    /// Whether any coil has a law.
    pub(in crate::budget) fn any(&self) -> bool {
        !self.coils.is_empty()
    }

    /// Whether a coil's wishes are shares of full duty. (Less of a wish of pull is not less of the heat
    /// in any fixed share, and a held coil would fall.)
    pub(in crate::budget) fn is_straight(&self, coil: usize) -> bool {
        self.coils.get(coil).is_none_or(Option::is_none)
    }

    /// For the rises of all windings over the room, K, from now on.
    pub(in crate::budget) fn warm(&mut self, drivers: &Drivers, rise: &[f64]) {
        for ((coil, wired), rise) in self.coils.iter_mut().zip(drivers.all()).zip(rise) {
            if let Some(Law { lifter, means, mean_per_k }) = coil
                && let Some(means) = self.tables.get(*means)
            {
                lifter.warm(*mean_per_k * (self.room_k + rise), &wired, means);
            }
        }
    }

    /// What a coil asks of its driver for a wish.
    pub(in crate::budget) fn ask(&mut self, coil: usize, wired: &Wired<'_>, wish: Share) -> Ask {
        match self.coils.get_mut(coil) {
            Some(Some(Law { lifter, means, .. })) => match self.tables.get(*means) {
                Some(means) => lifter.ask(wish, wired, means),
                None => Ask::OFF,
            },
            _ => wired.straight(wish),
        }
    }

    /// Takes note of what was sent, with its sign, when `asked` was asked for and heat allowed `cool`.
    pub(in crate::budget) fn sent(&mut self, coil: usize, code: i32, asked: u32, cool: u32) {
        if let Some(Some(Law { lifter, .. })) = self.coils.get_mut(coil) {
            lifter.sent(code, asked, cool);
        }
    }
}

/// What turns a share of full current into a duty.
pub(super) struct Electric {
    /// PWM period over L/R halfway between the room and the winding's limit.
    pub x: f64,
    /// Freewheel drop over what the supply puts across the coil.
    pub drop: f64,
    /// Mean current of v = 1 over what full duty gives, per kelvin of the copper's K + T.
    pub mean_per_k: f64,
}

impl Electric {
    pub(super) fn new(settings: &BudgetSettings, coil: &CoilBudget, pull: &PullSettings) -> Self {
        let volts = settings.rails.get(coil.rail).map_or(f64::INFINITY, |rail| rail.volts.0);
        let across = volts - pull.switch_drop.0;
        let limit = coil.heat.coil_limit.0;
        let half = f64::midpoint(settings.room.0, limit);
        Self {
            x: coil.period_over_tau * ((COPPER_K_C + half) / (COPPER_K_C + limit)),
            drop: pull.freewheel_drop.0 / across,
            mean_per_k: pull.full.0 * coil.resistance.0 / (COPPER_K_C + coil.reference.0) / across,
        }
    }

    pub(super) fn means(&self) -> Means {
        Means::new(self.x, self.drop)
    }
}
