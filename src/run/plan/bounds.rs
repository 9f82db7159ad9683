//! What keeps each coil from more: its heat, and when; or its rail, and when.

use serde::Serialize;

use crate::budget::{Budget, BudgetSettings};
use crate::frame::HeldBack;

/// Taken less than this part of what was wished, a coil without a gain is free.
const FREE: f64 = 1e-4;

/// A winding that comes this near its bound, K, is at it.
const AT_BOUND_K: f64 = 0.5;

/// What bounds one coil over all songs of a run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "by", rename_all = "snake_case")]
pub enum Bound {
    /// It got (all but) what it was wished.
    Nothing,
    /// Its heat: where its winding came nearest its bound.
    Heat {
        /// Number of the song, from 0.
        song: usize,
        /// When in the song's frames, s.
        at_s: f64,
        /// Winding then, C.
        now_c: f64,
        /// Bound of the winding, C.
        bound_c: f64,
    },
    /// Its rail: where that took most from it.
    Rail {
        /// Number of the rail, from 0.
        rail: usize,
        /// Number of the song, from 0.
        song: usize,
        /// When in the song's frames, s.
        at_s: f64,
    },
}

/// One coil's fullest moment and the moment when its rail took most.
#[derive(Debug, Clone, Copy, Default)]
struct Moments {
    left_k: Option<f64>,
    heat: (usize, f64),
    now_c: f64,
    bound_c: f64,
    taken_before: f64,
    taken: f64,
    rail: (usize, f64),
}

/// Follows a budget through songs.
#[derive(Debug, Clone)]
pub(super) struct Watch {
    coils: Vec<Moments>,
    rails: Vec<usize>,
    /// How long the supplies of coils take to come up, s: what they take meanwhile is no choice of gain.
    ramps_s: Vec<f64>,
    frame_s: f64,
    song: usize,
}

impl Watch {
    /// For the coils of these settings.
    pub(super) fn new(settings: &BudgetSettings) -> Self {
        Self {
            coils: vec![Moments::default(); settings.coils.len()],
            rails: settings.coils.iter().map(|coil| coil.rail).collect(),
            ramps_s: settings
                .coils
                .iter()
                .map(|coil| settings.rails.get(coil.rail).map_or(0.0, |rail| rail.ramp.0))
                .collect(),
            frame_s: settings.frame_rate.period().0,
            song: 0,
        }
    }

    /// Before the first frame of a song, whose budget counts anew.
    pub(super) fn start(&mut self, song: usize) {
        self.song = song;
        self.coils.iter_mut().for_each(|coil| coil.taken_before = 0.0);
    }

    /// Takes one frame in.
    pub(super) fn add(&mut self, frame: u32, budget: &Budget) {
        let at = (self.song, f64::from(frame) * self.frame_s);
        let heat = budget.load().node_c.iter().zip(budget.bound_c());
        let coils = self.coils.iter_mut().zip(&self.ramps_s);
        for (((coil, ramp_s), (now, bound)), total) in coils.zip(heat).zip(budget.totals().cut_rail)
        {
            let left = bound - now;
            if coil.left_k.is_none_or(|least| left < least) {
                (coil.left_k, coil.heat) = (Some(left), at);
                (coil.now_c, coil.bound_c) = (*now, *bound);
            }
            let taken = total - coil.taken_before;
            coil.taken_before = *total;
            if taken > coil.taken && at.1 > *ramp_s {
                (coil.taken, coil.rail) = (taken, at);
            }
        }
    }

    /// What bounds each coil. `duty`: per coil what was wished, granted, taken by the plan, the limiter,
    /// rails and driver.
    pub(super) fn bounds(&self, duty: &[[f64; 6]]) -> Vec<Bound> {
        let coils = self.coils.iter().zip(&self.rails).zip(duty);
        let bound = |((coil, &rail), [wished, _, plan, limiter, supply, _]): (_, &[f64; 6])| {
            let Moments { left_k, heat, now_c, bound_c, rail: at, .. } = coil;
            // A winding at its bound would be cut by any more, whatever its supply leaves it.
            let full = left_k.is_some_and(|left_k| left_k < AT_BOUND_K);
            if plan + limiter + supply <= FREE * wished {
                Bound::Nothing
            } else if supply > limiter && !full {
                Bound::Rail { rail, song: at.0, at_s: at.1 }
            } else {
                Bound::Heat { song: heat.0, at_s: heat.1, now_c, bound_c }
            }
        };
        coils.map(|((coil, rail), duty)| bound(((*coil, rail), duty))).collect()
    }
}

/// The coil with the lowest gain of those that something bounds, as song `number` tells of it.
pub(super) fn held_back(
    gains: &[f64],
    bounds: &[Bound],
    names: &[String],
    rails: &[String],
    number: usize,
) -> Option<HeldBack> {
    let coils = gains.iter().zip(bounds).zip(names);
    let bound = coils.filter(|((_, bound), _)| **bound != Bound::Nothing);
    let ((gain, bound), name) = bound.min_by(|((a, _), _), ((b, _), _)| a.total_cmp(b))?;
    let (rail, song, at_s) = match *bound {
        Bound::Nothing => return None,
        Bound::Heat { song, at_s, .. } => (None, song, at_s),
        Bound::Rail { rail, song, at_s } => (Some(rails.get(rail).cloned()?), song, at_s),
    };
    let at_s = (song == number).then_some(at_s);
    Some(HeldBack { coil: name.clone(), gain: *gain, rail, at_s })
}
