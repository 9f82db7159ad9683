//! The largest gains under which every coil still moves as it was wished.
//!
//! A gain alone changes no shape: duty and wish are as alike as can be. A larger one leaves the
//! rarest peaks to the limiter and the supply, which brings more heat where the music wants it and
//! costs likeness. So each coil's gain is the largest under which its likeness stays at [`ALIKE`],
//! whoever takes the peaks. What comes of gains is measured, not guessed: the frames are made again,
//! nothing is written, and every coil looks at its own likeness.
//!
//! The root of what likeness lacks of 1 grows about in a straight line with the logarithm of the gain,
//! from where the limiter begins to cut. A secant on it finds the gain; strides shorten, so that coils
//! which share heat or a rail do not swing.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil")]

use crate::budget::Plan;

/// The likeness that is aimed at for each coil. Our choice: an envelope that correlates at 0.99 is
/// told from its wish by its peaks only.
const ALIKE: f64 = 0.992;
/// The likeness that each coil must keep.
const KEPT: f64 = 0.9905;
/// Nearer to the aim than this is there.
const NEAR: f64 = 0.0006;
/// Cut less than this part of its wishes, a coil owes its likeness to its driver.
const CUT: f64 = 1e-4;
/// Longest stride of a gain, as a logarithm, and what later ones are of it.
const STRIDE: f64 = 0.22;
const SHORTENS: f64 = 0.88;
/// Times the frames are made again at most before gains are settled.
const TRIES: i32 = 9;
/// Steps of a gain, so that a file can say it.
const GAIN_STEPS: f64 = 1e4;
/// More than rounding takes from so many steps.
const ROUNDING: f64 = 1e-9;
/// A coil that its rail still cuts at this part of the gain under which full wishes of all its coils are
/// within its limit is starved by others who are served first: less would not help it.
const STARVED: f64 = 0.5;

/// What came of one coil's wishes over all songs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Seen {
    /// Correlation of duty with wish; `None` where the wish does not move.
    pub likeness: Option<f64>,
    /// Taken by the limiter, gains apart, and by the rail, as parts of what was wished.
    pub by_heat: f64,
    pub by_rail: f64,
    /// Copper heat, J.
    pub energy_j: f64,
}

impl Seen {
    /// What likeness lacks of 1 because something was cut.
    fn lacks(&self) -> f64 {
        let cut = self.by_heat + self.by_rail > CUT;
        self.likeness.filter(|_| cut).map_or(0.0, |likeness| (1.0 - likeness).max(0.0))
    }
}

/// Gains that were tried, best of all.
#[derive(Debug, Clone)]
struct Best {
    /// What likenesses lack of [`KEPT`], added up.
    short: f64,
    energy_j: f64,
    gains: Vec<f64>,
}

/// A search under way.
#[derive(Debug, Clone)]
pub(super) struct Search {
    plan: Plan,
    /// Per coil: the gain before this one, as a logarithm, and the root of what likeness lacked.
    before: Vec<Option<(f64, f64)>>,
    best: Option<Best>,
    tries: i32,
}

impl Search {
    /// From gains that heat was reckoned to allow.
    pub(super) fn from(mut plan: Plan) -> Self {
        let coils = plan.gains.len();
        plan.gains.iter_mut().for_each(|gain| *gain = in_steps(*gain));
        Self { before: vec![None; coils], plan, best: None, tries: 0 }
    }

    /// Whether every coil that a gain can turn down moves as it was wished without one.
    pub(super) fn is_needless(plan: &Plan, seen: &[Seen]) -> bool {
        let mut coils = plan.turns.iter().zip(seen);
        coils.all(|(turns, seen)| !turns || seen.lacks() <= 1.0 - ALIKE)
    }

    /// The gains to try.
    pub(super) fn gains(&self) -> &[f64] {
        &self.plan.gains
    }

    /// Learns what came of them, and moves on to the next; false when there is no need to.
    pub(super) fn learn(&mut self, seen: &[Seen]) -> bool {
        self.keep_best(seen);
        self.tries += 1;
        let most = STRIDE * libm::pow(SHORTENS, f64::from(self.tries - 1));
        let mut moved = false;
        for (coil, seen) in seen.iter().enumerate() {
            let Some(stride) = self.stride(coil, seen) else { continue };
            let gain = self.plan.gains[coil];
            let next = gain * libm::exp(stride.clamp(-most, most));
            // Below this nothing can be cut, or somebody else is served first.
            let least = if seen.by_rail > seen.by_heat {
                STARVED * self.plan.in_supply[coil]
            } else {
                self.plan.in_heat[coil]
            };
            let next = in_steps(next.max(least.min(gain)).min(1.0));
            self.before[coil] = Some((libm::log(gain), seen.lacks().sqrt()));
            moved |= next.to_bits() != gain.to_bits();
            self.plan.gains[coil] = next;
        }
        moved && self.tries < TRIES
    }

    /// The best gains of all that were tried.
    pub(super) fn done(self) -> Plan {
        let Self { mut plan, best, .. } = self;
        if let Some(best) = best {
            plan.gains = best.gains;
        }
        plan
    }

    /// How far to move a gain, as a logarithm; `None` where it is good.
    fn stride(&self, coil: usize, seen: &Seen) -> Option<f64> {
        let lacks = seen.lacks();
        let aim = 1.0 - ALIKE;
        if !self.plan.turns[coil] || seen.likeness.is_none() || (lacks - aim).abs() <= NEAR {
            return None;
        }
        let (now, root) = (libm::log(self.plan.gains[coil]), lacks.sqrt());
        let slope = self.before[coil].map(|(then, last)| (root - last) / (now - then));
        let to_go = aim.sqrt() - root;
        Some(match slope.filter(|slope| slope.is_finite() && *slope > FLAT) {
            Some(slope) => to_go / slope,
            // As far as it goes, at the steepest that is usual.
            None => to_go / STEEP,
        })
    }

    fn keep_best(&mut self, seen: &[Seen]) {
        let turned = self.plan.turns.iter().zip(seen).filter(|(turns, _)| **turns);
        let short = turned.map(|(_, seen)| (seen.lacks() - (1.0 - KEPT)).max(0.0)).sum();
        let energy_j = seen.iter().map(|seen| seen.energy_j).sum();
        let better = self.best.as_ref().is_none_or(|best| {
            short < best.short || (short <= best.short && energy_j > best.energy_j)
        });
        if better {
            self.best = Some(Best { short, energy_j, gains: self.plan.gains.clone() });
        }
    }
}

/// Slopes of the root that tell nothing, and the steepest that is usual.
const FLAT: f64 = 0.05;
const STEEP: f64 = 0.5;

/// Not above `gain`; a gain in steps stays what it is, although its product may come out a bit less
/// than whole.
fn in_steps(gain: f64) -> f64 {
    (libm::floor(gain * GAIN_STEPS + ROUNDING) / GAIN_STEPS).max(GAIN_STEPS.recip())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(coils: usize) -> Plan {
        Plan {
            gains: vec![0.4; coils],
            powers: vec![2.0; coils],
            turns: vec![true; coils],
            in_heat: vec![0.1; coils],
            in_supply: vec![0.3; coils],
        }
    }

    /// A coil whose limiter begins to cut at a gain of `from`.
    fn cut(gain: f64, from: f64) -> Seen {
        let over = (gain / from - 1.0).max(0.0);
        Seen {
            likeness: Some(1.0 - 0.3 * over * over),
            by_heat: 0.2 * over,
            by_rail: 0.0,
            energy_j: gain,
        }
    }

    #[test]
    fn every_coil_ends_at_the_aim_or_whole() {
        let from = [0.3, 0.5, 0.8, 0.9];
        let mut search = Search::from(plan(from.len()));
        loop {
            let gains = search.gains().to_vec();
            let seen: Vec<Seen> = gains.iter().zip(from).map(|(g, from)| cut(*g, from)).collect();
            if !search.learn(&seen) {
                break;
            }
        }
        let tries = search.tries;
        for (gain, from) in search.done().gains.into_iter().zip(from) {
            let lacks = cut(gain, from).lacks();
            let whole = gain >= 1.0 && lacks < 1.0 - ALIKE;
            assert!(whole || (lacks - 0.008).abs() < 0.0015, "{gain} from {from} lacks {lacks}");
        }
        assert!(tries < TRIES, "{tries} tries");
    }

    #[test]
    fn who_is_starved_by_others_keeps_the_share_of_the_supply() {
        let mut search = Search::from(plan(2));
        let starved =
            |gain: f64| Seen { likeness: Some(0.7), by_heat: 0.0, by_rail: 0.4, energy_j: gain };
        while search.learn(&[starved(0.4), cut(search.gains()[1], 0.5)]) {}
        assert!(search.gains()[0] >= 0.15, "{:?}", search.gains());
    }

    #[test]
    fn a_gain_in_steps_stays_what_it_is() {
        for step in 1..=10_000_u16 {
            let gain = f64::from(step) / GAIN_STEPS;
            assert_eq!(in_steps(gain).to_bits(), gain.to_bits(), "{gain}");
        }
    }

    #[test]
    fn coils_without_a_gain_and_steady_wishes_stay_as_they_are() {
        let mut start = plan(2);
        start.turns[0] = false;
        let mut search = Search::from(start);
        let steady = Seen { likeness: None, by_heat: 0.3, by_rail: 0.0, energy_j: 1.0 };
        assert!(!search.learn(&[cut(1.0, 0.3), steady]));
        assert_eq!(search.done().gains, [0.4, 0.4]);
    }
}
