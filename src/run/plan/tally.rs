//! What was granted, against a fixed clamp and against the wishes.

use super::report::CoilGained;
use crate::budget::{Budget, Clamp};
use crate::frame::Gained;
use crate::units::Share;

/// Sums over frames of one coil. `[granted, clamped]` where there are two.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    wish: f64,
    wish_squared: f64,
    duty: [f64; 2],
    squared: [f64; 2],
    with_wish: [f64; 2],
    heat: [f64; 2],
}

/// Follows a budget and its clamp through a song, or several.
#[derive(Debug, Clone)]
pub struct Tally {
    clamp: Clamp,
    steps: Vec<f64>,
    sums: Vec<Sums>,
    frames: f64,
    frame_s: f64,
}

impl Tally {
    /// From nothing, for coils whose drivers have so many steps.
    pub fn new(clamp: Clamp, steps: impl Iterator<Item = u16>, frame_s: f64) -> Self {
        let steps: Vec<f64> = steps.map(f64::from).collect();
        Self { clamp, sums: vec![Sums::default(); steps.len()], steps, frames: 0.0, frame_s }
    }

    /// Takes one frame in: what was wished, and what the budget made of it.
    pub fn add(&mut self, wishes: &[Share], budget: &Budget) {
        let made = budget.duties().iter().zip(budget.shares()).zip(&self.steps);
        for (coil, (sums, (((duty, &heat), steps), &wish))) in
            self.sums.iter_mut().zip(made.zip(wishes)).enumerate()
        {
            let wish = self.clamp.size(coil, wish);
            let most = self.clamp.most(coil);
            let clamped = wish.min(most);
            let granted = f64::from(duty.code().unsigned_abs()) / steps;
            sums.wish += wish;
            sums.wish_squared += wish * wish;
            for (index, duty) in [granted, clamped].into_iter().enumerate() {
                let at = |list: &mut [f64; 2], value: f64| {
                    if let Some(own) = list.get_mut(index) {
                        *own += value;
                    }
                };
                at(&mut sums.duty, duty);
                at(&mut sums.squared, duty * duty);
                at(&mut sums.with_wish, duty * wish);
            }
            let [own, held] = &mut sums.heat;
            *own += heat;
            *held += self.clamp.heat(coil, clamped);
        }
        self.frames += 1.0;
    }

    /// Per coil, what came of it.
    pub fn coils(&self) -> impl Iterator<Item = CoilGained> + '_ {
        self.sums.iter().enumerate().map(|(coil, sums)| {
            let n = self.frames.max(1.0);
            let around = |sum: f64, squared: f64| (squared - sum * sum / n).max(0.0);
            let wish_motion = around(sums.wish, sums.wish_squared);
            let [granted, clamped] = [0, 1].map(|index| {
                let of = |list: &[f64; 2]| list.get(index).copied().unwrap_or(0.0);
                let duty = of(&sums.duty);
                let motion = around(duty, of(&sums.squared));
                let with = of(&sums.with_wish) - duty * sums.wish / n;
                let likeness = if motion > TINY && wish_motion > TINY {
                    (with / (motion * wish_motion).sqrt()).clamp(-1.0, 1.0)
                } else {
                    0.0
                };
                let energy_j = of(&sums.heat) * self.clamp.full_w(coil) * self.frame_s;
                (energy_j, motion * self.frame_s, likeness)
            });
            CoilGained {
                wished: sums.wish / n,
                clamp: self.clamp.most(coil),
                wish_motion_s: wish_motion * self.frame_s,
                energy_j: [granted.0, clamped.0],
                motion_s: [granted.1, clamped.1],
                likeness: [granted.2, clamped.2],
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
