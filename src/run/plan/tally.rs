//! What was granted, against a fixed clamp and against the wishes.

use super::report::CoilGained;
use crate::budget::{Budget, Clamp};
use crate::frame::Gained;
use crate::units::Share;

/// Sums over frames of one coil. `[granted, clamped]` where there are two.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    frames: f64,
    wish: f64,
    wish_squared: f64,
    duty: [f64; 2],
    squared: [f64; 2],
    with_wish: [f64; 2],
    heat: [f64; 2],
}

impl Sums {
    fn add(&mut self, more: &Self) {
        let add = |sums: &mut [f64; 2], more: [f64; 2]| {
            sums.iter_mut().zip(more).for_each(|(sum, more)| *sum += more);
        };
        self.frames += more.frames;
        self.wish += more.wish;
        self.wish_squared += more.wish_squared;
        add(&mut self.duty, more.duty);
        add(&mut self.squared, more.squared);
        add(&mut self.with_wish, more.with_wish);
        add(&mut self.heat, more.heat);
    }

    /// Squares of the wish and of both duties around their means.
    fn motion(&self) -> (f64, [f64; 2]) {
        let around = |sum: f64, squared: f64| (squared - sum * sum / self.n()).max(0.0);
        let [granted, clamped] = self.duty;
        let duties = [around(granted, self.squared[0]), around(clamped, self.squared[1])];
        (around(self.wish, self.wish_squared), duties)
    }

    /// Correlation of both duties with the wish; 0 where nothing moves.
    fn likeness(&self) -> [f64; 2] {
        let (wish, motion) = self.motion();
        let common = |duty: f64, with_wish: f64| with_wish - duty * self.wish / self.n();
        let [granted, clamped] = self.duty;
        let common = [common(granted, self.with_wish[0]), common(clamped, self.with_wish[1])];
        [(motion[0], common[0]), (motion[1], common[1])].map(|(motion, common)| {
            if motion > TINY && wish > TINY {
                (common / (motion * wish).sqrt()).clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
    }

    fn n(&self) -> f64 {
        self.frames.max(1.0)
    }
}

/// Follows a budget and its clamp through a song, or several.
#[derive(Debug, Clone)]
pub struct Tally {
    clamp: Clamp,
    steps: Vec<f64>,
    /// Per coil: of frames in which its supply comes up, and of all others. What is taken meanwhile is
    /// no choice of gain, and is left out of likeness.
    sums: Vec<[Sums; 2]>,
    frame_s: f64,
}

impl Tally {
    /// From nothing, for coils whose drivers have so many steps.
    pub fn new(clamp: Clamp, steps: impl Iterator<Item = u16>, frame_s: f64) -> Self {
        let steps: Vec<f64> = steps.map(f64::from).collect();
        Self { clamp, sums: vec![<[Sums; 2]>::default(); steps.len()], steps, frame_s }
    }

    /// Takes one frame in: what was wished, and what the budget made of it.
    pub fn add(&mut self, wishes: &[Share], budget: &Budget) {
        let made = budget.duties().iter().zip(budget.shares()).zip(&self.steps);
        let coils = self.sums.iter_mut().zip(budget.rising()).zip(made.zip(wishes));
        for (coil, (([rising, risen], rises), (((duty, &heat), steps), &wish))) in coils.enumerate()
        {
            let wish = self.clamp.size(coil, wish);
            let clamped = wish.min(self.clamp.most(coil));
            let duty = [f64::from(duty.code().unsigned_abs()) / steps, clamped];
            let sums = if rises { rising } else { risen };
            sums.add(&Sums {
                frames: 1.0,
                wish,
                wish_squared: wish * wish,
                duty,
                squared: duty.map(|duty| duty * duty),
                with_wish: duty.map(|duty| duty * wish),
                heat: [heat, self.clamp.heat(coil, clamped)],
            });
        }
    }

    /// Per coil, what came of it.
    pub fn coils(&self) -> impl Iterator<Item = CoilGained> + '_ {
        self.sums.iter().enumerate().map(|(coil, [rising, risen])| {
            let mut all = *rising;
            all.add(risen);
            let (wish_motion, motion) = all.motion();
            CoilGained {
                wished: all.wish / all.n(),
                clamp: self.clamp.most(coil),
                wish_motion_s: wish_motion * self.frame_s,
                energy_j: all.heat.map(|heat| heat * self.clamp.full_w(coil) * self.frame_s),
                motion_s: motion.map(|motion| motion * self.frame_s),
                // A song may end before its supply has come up.
                likeness: if risen.frames > 0.0 { risen } else { &all }.likeness(),
            }
        })
    }

    /// All coils together.
    pub fn gained(&self) -> Gained {
        let mut all = Gained::default();
        let mut weight = 0.0;
        for coil in self.coils() {
            weight += coil.wish_motion_s;
            let add = |sum: &mut [f64; 2], own: [f64; 2], by: f64| {
                for (sum, own) in sum.iter_mut().zip(own) {
                    *sum += own * by;
                }
            };
            add(&mut all.energy_j, coil.energy_j, 1.0);
            add(&mut all.motion_s, coil.motion_s, 1.0);
            add(&mut all.likeness, coil.likeness, coil.wish_motion_s);
        }
        if weight > 0.0 {
            all.likeness = all.likeness.map(|sum| (sum / weight).clamp(-1.0, 1.0));
        }
        all
    }
}

/// Sums of squares that are rounding and no motion.
const TINY: f64 = 1e-12;

/// What was taken of every coil's wishes, once its supply has come up.
#[derive(Debug, Clone)]
pub(super) struct Taken {
    /// Per coil: wished, taken by the limiter, gains apart, and by the rail.
    pub(super) sums: Vec<[f64; 3]>,
    /// The same of this song while its supply came up.
    rising: Vec<[f64; 3]>,
}

impl Taken {
    pub(super) fn nothing(coils: usize) -> Self {
        Self { sums: vec![[0.0; 3]; coils], rising: vec![[0.0; 3]; coils] }
    }

    /// After every frame.
    pub(super) fn add(&mut self, budget: &Budget) {
        if !budget.rising().any(|rises| rises) {
            return;
        }
        let coils = self.rising.iter_mut().zip(budget.rising()).zip(so_far(budget));
        for ((rising, _), now) in coils.filter(|((_, rises), _)| *rises) {
            *rising = now;
        }
    }

    /// After the last frame of a song.
    pub(super) fn end(&mut self, budget: &Budget) {
        let coils = self.sums.iter_mut().zip(&mut self.rising).zip(so_far(budget));
        for ((sums, rising), now) in coils {
            for (sum, (now, before)) in sums.iter_mut().zip(now.into_iter().zip(rising.iter())) {
                *sum += now - before;
            }
            *rising = [0.0; 3];
        }
    }
}

/// Per coil since the first frame of this budget: wished, taken by the limiter, gains apart, and by the
/// rail.
fn so_far(budget: &Budget) -> impl Iterator<Item = [f64; 3]> {
    let totals = budget.totals();
    let heat = totals.cut_heat.iter().zip(totals.eased).map(|(heat, eased)| heat - eased);
    let coils = totals.wished.iter().zip(heat).zip(totals.cut_rail);
    coils.map(|((wished, heat), rail)| [*wished, heat, *rail])
}
