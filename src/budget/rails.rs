//! Supplies: what all coils of a rail draw together, on average over the PWM.
//!
//! Only the on phase draws from the supply, and over a period the supply gives exactly what the
//! copper heats (ideal freewheel path): the mean current of a coil is its heat share times its full
//! current, not its mean coil current. Full current counts here as that of a winding as cold as it
//! may ever be, where it takes most, and with the coil's factor for what is not measured: so
//! neither a cold morning nor an error of the heat model can overload a supply. Lowering power is
//! always safe for heat, so this comes last and may only lower.
//!
//! A rail may also be told to start softly and to rise slowly ([`Pace`]); both lower what it may
//! give in a frame, and are shared out as its limit is.

#![expect(clippy::indexing_slicing, reason = "index arithmetic over coils and rails, checked")]

use std::ops::Range;

use super::drive::Drivers;
use super::{BudgetSettings, CoilBudget, Rail};
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

/// How fast the current of one rail may come up.
#[derive(Debug, Clone, Copy)]
struct Pace {
    /// Where the start-up ramp ends, A, and its part per frame.
    top_a: f64,
    ramp_per_frame: f64,
    /// Largest rise from one frame to the next, A.
    rise_a: f64,
    /// What was asked for in the last frame, as far as limit, ramp and rise let it. Duties are
    /// rounded down from it; following those instead would stay at nothing for ever where the rise
    /// of one frame is less than one step.
    level_a: f64,
}

impl Pace {
    fn new(rail: &Rail, all_full_a: f64, frame_s: f64) -> Self {
        Self {
            top_a: rail.limit.0.min(all_full_a),
            // Without a ramp this is infinite, and 0 times it is no number and lowers nothing.
            ramp_per_frame: frame_s / rail.ramp.0,
            rise_a: rail.slew_a_per_s * frame_s,
            level_a: 0.0,
        }
    }

    /// The part of the start-up ramp that frame `frame` has reached; no number or 1 and more behind it.
    fn ramped(&self, frame: u64) -> f64 {
        frame as f64 * self.ramp_per_frame
    }

    /// The most that a rail may give in frame `frame`.
    fn within(&self, frame: u64, limit_a: f64) -> f64 {
        let share = self.ramped(frame);
        let ramp_a = if share < 1.0 { share * self.top_a } else { f64::INFINITY };
        limit_a.min(ramp_a).min(self.level_a + self.rise_a)
    }
}

/// The rails, and who is served in which order.
#[derive(Debug, Clone)]
pub(super) struct Rails {
    /// Runs of coils on one rail, in display order: where the run ends, and its rail.
    runs: Vec<(usize, usize)>,
    /// Per coil: what full duty counts for on its rail, A.
    full_a: Vec<f64>,
    limit_a: Vec<f64>,
    paces: Vec<Pace>,
    /// Frames since the first.
    frame: u64,
    /// Per rail: what its coils would draw, or do draw, in this frame.
    drawn_a: Vec<f64>,
    /// Coils by rail, then priority, then display order.
    order: Vec<usize>,
    groups: Vec<Group>,
    /// Per rail: its groups, first served first.
    groups_of: Vec<Range<usize>>,
}

impl Rails {
    /// From checked settings.
    pub(super) fn new(settings: &BudgetSettings, frame_s: f64) -> Self {
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
        let full_a: Vec<f64> = coils.iter().map(|coil| counted_a(settings, coil)).collect();
        let mut all_full_a = vec![0.0; settings.rails.len()];
        for (coil, amps) in coils.iter().zip(&full_a) {
            all_full_a[coil.rail] += amps;
        }
        let paces = settings.rails.iter().zip(&all_full_a);
        Self {
            runs: runs(coils),
            full_a,
            paces: paces.map(|(rail, all)| Pace::new(rail, *all, frame_s)).collect(),
            frame: 0,
            limit_a: settings.rails.iter().map(|rail| rail.limit.0).collect(),
            drawn_a: vec![0.0; settings.rails.len()],
            order,
            groups,
            groups_of,
        }
    }

    /// Lowers the compare values of short rails, and their heat shares `heat` with them. True when it
    /// lowered any.
    pub(super) fn lower(&mut self, drivers: &Drivers, codes: &mut [u32], heat: &mut [f64]) -> bool {
        self.add_up(heat);
        let mut lowered = false;
        for rail in 0..self.limit_a.len() {
            let within_a = self.paces[rail].within(self.frame, self.limit_a[rail]);
            self.paces[rail].level_a = self.drawn_a[rail].min(within_a);
            if self.drawn_a[rail] > within_a {
                lowered = true;
                self.share_out(rail, within_a, drivers, codes, heat);
            }
        }
        self.frame = self.frame.saturating_add(1);
        lowered
    }

    /// Per coil: whether its rail was on its start-up ramp when it was last lowered.
    pub(super) fn rising(&self) -> impl Iterator<Item = bool> + '_ {
        let last = self.frame.saturating_sub(1);
        let runs = self.runs.iter().scan(0, move |from, &(end, rail)| {
            let coils = end - std::mem::replace(from, end);
            Some(std::iter::repeat_n(self.paces[rail].ramped(last) < 1.0, coils))
        });
        runs.flatten()
    }

    /// What every rail gives, A, as it was last added up.
    pub(super) fn drawn_a(&self) -> &[f64] {
        &self.drawn_a
    }

    /// Adds up what every rail gives for these heat shares, in display order.
    pub(super) fn add_up(&mut self, heat: &[f64]) {
        self.drawn_a.fill(0.0);
        let mut from = 0;
        for &(end, rail) in &self.runs {
            let amps = heat[from..end].iter().zip(&self.full_a[from..end]);
            let drawn_a = &mut self.drawn_a[rail];
            *drawn_a = amps.fold(*drawn_a, |sum, (share, full_a)| sum + share * full_a);
            from = end;
        }
    }

    /// Serves a short rail from what it has left: in order of priority while it lasts, then everyone of the priority at
    /// which it runs short by the same factor, then nobody.
    fn share_out(
        &self,
        rail: usize,
        mut left_a: f64,
        drivers: &Drivers,
        codes: &mut [u32],
        heat: &mut [f64],
    ) {
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

/// Runs of coils on one rail: where each ends, and its rail.
fn runs(coils: &[CoilBudget]) -> Vec<(usize, usize)> {
    let mut end = 0;
    let run = |run: &[CoilBudget]| {
        end += run.len();
        (end, run[0].rail)
    };
    coils.chunk_by(|a, b| a.rail == b.rail).map(run).collect()
}
