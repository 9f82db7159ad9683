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

impl Sums {
    /// Squares of wish and of both duties around their means over `n` frames, and what duty and wish
    /// have in common.
    fn around(&self, n: f64) -> (f64, [f64; 2], [f64; 2]) {
        let around = |sum: f64, squared: f64| (squared - sum * sum / n).max(0.0);
        let [granted, clamped] = self.duty;
        (
            around(self.wish, self.wish_squared),
            [around(granted, self.squared[0]), around(clamped, self.squared[1])],
            [
                self.with_wish[0] - granted * self.wish / n,
                self.with_wish[1] - clamped * self.wish / n,
            ],
        )
    }

    /// Correlation of both duties with the wish over `n` frames; 0 where nothing moves.
    fn likeness(&self, n: f64) -> [f64; 2] {
        let (wish, [granted, clamped], [with, clamped_with]) = self.around(n);
        [(granted, with), (clamped, clamped_with)].map(|(motion, with)| {
            if motion > TINY && wish > TINY {
                (with / (motion * wish).sqrt()).clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
    }

    /// All but the frames of `part`.
    fn without(&self, part: &Self) -> Self {
        let less = |all: [f64; 2], part: [f64; 2]| [all[0] - part[0], all[1] - part[1]];
        Self {
            wish: self.wish - part.wish,
            wish_squared: self.wish_squared - part.wish_squared,
            duty: less(self.duty, part.duty),
            squared: less(self.squared, part.squared),
            with_wish: less(self.with_wish, part.with_wish),
            heat: less(self.heat, part.heat),
        }
    }
}

/// Follows a budget and its clamp through a song, or several.
#[derive(Debug, Clone)]
pub struct Tally {
    clamp: Clamp,
    steps: Vec<f64>,
    sums: Vec<Sums>,
    /// Of the frames in which supplies come up: what is taken then is no choice of gain, and is left
    /// out of likeness.
    rising: Vec<Sums>,
    frames: f64,
    rising_frames: f64,
    frame_s: f64,
}

impl Tally {
    /// From nothing, for coils whose drivers have so many steps.
    pub fn new(clamp: Clamp, steps: impl Iterator<Item = u16>, frame_s: f64) -> Self {
        let steps: Vec<f64> = steps.map(f64::from).collect();
        let sums = vec![Sums::default(); steps.len()];
        Self { clamp, rising: sums.clone(), sums, steps, frames: 0.0, rising_frames: 0.0, frame_s }
    }

    /// As [`add`](Self::add), for a frame in which supplies come up. They are the first of each song.
    pub fn add_rising(&mut self, wishes: &[Share], budget: &Budget) {
        let before = self.sums.clone();
        self.add(wishes, budget);
        for (rising, (all, before)) in self.rising.iter_mut().zip(self.sums.iter().zip(&before)) {
            // Less less is more: what this frame added.
            *rising = rising.without(&before.without(all));
        }
        self.rising_frames += 1.0;
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
        let coils = self.sums.iter().zip(&self.rising).enumerate();
        coils.map(|(coil, (sums, rising))| {
            let n = self.frames.max(1.0);
            let (wish_motion, motion, _) = sums.around(n);
            let risen = (self.frames - self.rising_frames).max(1.0);
            CoilGained {
                wished: sums.wish / n,
                clamp: self.clamp.most(coil),
                wish_motion_s: wish_motion * self.frame_s,
                energy_j: sums.heat.map(|heat| heat * self.clamp.full_w(coil) * self.frame_s),
                motion_s: motion.map(|motion| motion * self.frame_s),
                likeness: sums.without(rising).likeness(risen),
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
