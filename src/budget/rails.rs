//! Supplies: what all coils of a rail draw together, on average over the PWM.
//!
//! Only the on phase draws from the supply, and over a period the supply gives exactly what the
//! copper heats (ideal freewheel path): the mean current of a coil is its heat share times its full
//! current, not its mean coil current. Full current counts here as that of a winding
//! as cold as it may ever be, where it takes most, and with the coil's factor for what is not
//! measured: so neither a cold morning nor an error of the heat model can overload a supply. Lowering power is always safe for heat, so this
//! comes last and may only lower.

#![expect(clippy::indexing_slicing, reason = "index arithmetic over coils and rails, checked")]

use std::ops::Range;

use super::drive::Drivers;
use super::{BudgetSettings, CoilBudget};
use crate::coil::copper::resistance_at;
use crate::units::Celsius;

/// Coldest winding that supplies are reckoned for, C: the room a display states is the warmest it
/// stands in, and it may be switched on in a colder one. Our choice, no source.
const COLDEST_C: f64 = 10.0;

/// What a coil's full duty counts for on its rail, A.
pub(super) fn counted_a(settings: &BudgetSettings, coil: &CoilBudget) -> f64 {
    let volts = settings.rails.get(coil.rail).map_or(0.0, |rail| rail.volts.0);
    let cold = Celsius(settings.room.0.min(COLDEST_C));
    volts / resistance_at(coil.resistance, coil.reference, cold).0 * coil.power_scale
}

/// Coils of one rail and one priority, as a range of `Rails::order`.
type Group = Range<usize>;

/// The rails, and who is served in which order.
#[derive(Debug, Clone)]
pub(super) struct Rails {
    /// Per coil: its rail.
    pub rail_of: Vec<usize>,
    /// Per coil: what full duty counts for on its rail, A.
    pub full_a: Vec<f64>,
    limit_a: Vec<f64>,
    asked_a: Vec<f64>,
    /// Coils by rail, then priority, then display order.
    order: Vec<usize>,
    groups: Vec<Group>,
    /// Per rail: its groups, first served first.
    groups_of: Vec<Range<usize>>,
}

impl Rails {
    /// From checked settings.
    pub(super) fn new(settings: &BudgetSettings) -> Self {
        let coils = &settings.coils;
        let mut order: Vec<usize> = (0..coils.len()).collect();
        order.sort_by_key(|&coil| (coils[coil].rail, coils[coil].priority));
        let mut groups = Vec::new();
        let mut groups_of = vec![0..0; settings.rails.len()];
        let mut start = 0;
        let key = |coil: usize| (coils[coil].rail, coils[coil].priority);
        for members in order.chunk_by(|&a, &b| key(a) == key(b)) {
            let rail = coils[members[0]].rail;
            let own: &mut Range<usize> = &mut groups_of[rail];
            let first = if own.start == own.end { groups.len() } else { own.start };
            *own = first..groups.len() + 1;
            groups.push(start..start + members.len());
            start += members.len();
        }
        Self {
            rail_of: coils.iter().map(|coil| coil.rail).collect(),
            full_a: coils.iter().map(|coil| counted_a(settings, coil)).collect(),
            limit_a: settings.rails.iter().map(|rail| rail.limit.0).collect(),
            asked_a: vec![0.0; settings.rails.len()],
            order,
            groups,
            groups_of,
        }
    }

    /// Lowers the compare values of short rails, and their heat shares `heat` with them.
    pub(super) fn lower(&mut self, drivers: &Drivers, codes: &mut [u32], heat: &mut [f64]) {
        self.asked_a.fill(0.0);
        for (coil, share) in heat.iter().enumerate() {
            self.asked_a[self.rail_of[coil]] += share * self.full_a[coil];
        }
        for rail in 0..self.limit_a.len() {
            if self.asked_a[rail] > self.limit_a[rail] {
                self.share_out(rail, drivers, codes, heat);
            }
        }
    }

    /// Serves a short rail: in order of priority while it lasts, then everyone of the priority at
    /// which it runs short by the same factor, then nobody.
    fn share_out(&self, rail: usize, drivers: &Drivers, codes: &mut [u32], heat: &mut [f64]) {
        let mut left_a = self.limit_a[rail];
        for group in &self.groups[self.groups_of[rail].clone()] {
            let members = &self.order[group.clone()];
            let amps = |&coil: &usize| heat[coil] * self.full_a[coil];
            let sum_a: f64 = members.iter().map(amps).sum();
            if sum_a <= left_a {
                left_a -= sum_a;
                continue;
            }
            let factor = left_a / sum_a;
            left_a = 0.0;
            for &coil in members {
                let Some(wired) = drivers.of(coil) else { continue };
                codes[coil] = codes[coil].min(wired.within(heat[coil] * factor));
                heat[coil] = wired.heat(codes[coil]);
            }
        }
    }
}
