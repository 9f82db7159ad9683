//! The rider: gains for sound whose future nobody knows.
//!
//! Where music asks for more than a coil can stand for long, the limiter would take the loudest
//! moments and leave the rest: the motion goes flat. The rider turns such a coil down before that,
//! slowly, and up again when there is room. Every quarter of a second it asks, for each coil by
//! itself: if the music goes on as it did lately, where will winding and backing be when the look
//! ahead is over? From the part of that power which would just fit follows the gain. The winding also
//! keeps room for the loudest pulse of late, as the limiter wants it.
//!
//! It only guesses, with its neighbours as warm as they are now, and needs not be safe: the limiter
//! stands behind it. What the floor grants for ever it never takes. It hears no clock and no more
//! than the budget does, and takes no memory after it was built.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil or node")]

use super::ease::Ease;
use super::limiter::Limiter;
use super::network::Network;

/// How often gains move, s.
const EVERY_S: f64 = 0.25;
/// Over what time the music of late is averaged, s.
const LATELY_S: f64 = 8.0;
/// How fast a gain falls and rises, per second. A fall over seconds is heard as the music's own; a
/// rise has to be slower than a verse to go unnoticed. Our choice, no source.
const FALLS_PER_S: f64 = 0.25;
const RISES_PER_S: f64 = 0.02;
/// The part of its box that a coil is led to.
const FILL: f64 = 0.985;

/// How one coil and its backing answer over the look ahead, everything else held.
#[derive(Debug, Clone, Copy)]
struct Answer {
    /// Both rises at its end from both now.
    keep: [[f64; 2]; 2],
    /// Both rises at its end from 1 W into each throughout.
    warm: [[f64; 2]; 2],
    /// Conductance between the two, W/K.
    link: f64,
    /// Rise of the winding from 1 W over the limiter's horizon, K.
    pulse: f64,
    /// Power goes as the gain to this: 1 for slow PWM, 2 for smooth current.
    power_of: f64,
}

/// Gains of one display, led by its heat.
#[derive(Debug, Clone)]
pub(super) struct Rider {
    answers: Vec<Answer>,
    every_s: f64,
    ticks: u32,
    tick: u32,
    frames: f64,
    /// Per coil since the last move: heat shares wanted, added up, and the highest.
    sum: Vec<f64>,
    top: Vec<f64>,
    /// Per coil: heat share lately wanted, as if the gain were 1; and the loudest pulse lately.
    lately: Vec<f64>,
    pulse: Vec<f64>,
}

impl Rider {
    /// Looks `ahead_s` ahead; not at all where that is 0. `powers_of` says how each coil's power
    /// goes with its gain.
    pub(super) fn new(
        network: &Network,
        powers_of: impl Iterator<Item = f64>,
        tick_s: f64,
        horizon_s: f64,
        ahead_s: f64,
    ) -> Self {
        let rides = ahead_s > 0.0;
        let answers: Vec<Answer> = powers_of
            .take(if rides { network.coils } else { 0 })
            .enumerate()
            .map(|(coil, power_of)| Answer {
                power_of,
                pulse: horizon_s / network.heat[coil],
                ..Answer::of(network, coil, ahead_s)
            })
            .collect();
        let none = vec![0.0; answers.len()];
        let ticks = (1..=1000).find(|&ticks| f64::from(ticks) * tick_s >= EVERY_S - 1e-9);
        let ticks = ticks.unwrap_or(1);
        Self {
            every_s: f64::from(ticks) * tick_s,
            ticks,
            tick: 0,
            frames: 0.0,
            sum: none.clone(),
            top: none.clone(),
            lately: none.clone(),
            pulse: none,
            answers,
        }
    }

    /// Whether there is anything to do.
    pub(super) fn rides(&self) -> bool {
        !self.answers.is_empty()
    }

    /// Takes the heat share that one coil wanted in one frame, after its gain.
    pub(super) fn saw(&mut self, coil: usize, share: f64) {
        self.sum[coil] += share;
        self.top[coil] = self.top[coil].max(share);
    }

    /// Counts a frame, once all coils were seen.
    pub(super) fn frame(&mut self) {
        self.frames += 1.0;
    }

    /// At the start of a heat tick, after the limiter's tables are fresh.
    pub(super) fn lead(
        &mut self,
        network: &Network,
        limiter: &Limiter,
        rise: &[f64],
        ease: &mut Ease,
    ) {
        self.tick += 1;
        if self.tick < self.ticks || self.frames < 1.0 {
            return;
        }
        let blend = -libm::expm1(-self.every_s / LATELY_S);
        for (coil, answer) in self.answers.iter().enumerate() {
            let gain = ease.gains()[coil];
            let eased = libm::pow(gain, answer.power_of);
            let now = self.sum[coil] / self.frames / eased;
            self.lately[coil] += blend * (now - self.lately[coil]);
            let top = self.top[coil] / eased;
            self.pulse[coil] = top.max(self.pulse[coil] * (1.0 - blend));
            let full_w = limiter.full_w[coil];
            let fits = answer.fits(
                network,
                coil,
                rise,
                limiter.bound(),
                [self.lately[coil] * full_w, self.pulse[coil] * full_w],
            );
            let floor = limiter.floor_w[coil] / (self.lately[coil] * full_w);
            let target = libm::pow(fits.max(floor).min(1.0), answer.power_of.recip());
            let (down, up) = (FALLS_PER_S * self.every_s, RISES_PER_S * self.every_s);
            ease.set(coil, gain + (target - gain).clamp(-down, up));
        }
        self.sum.fill(0.0);
        self.top.fill(0.0);
        (self.tick, self.frames) = (0, 0.0);
    }
}

impl Answer {
    /// Closed form of two nodes: f(M) = f(l2) + (f(l1) - f(l2)) / (l1 - l2) (M - l2), where l1 > l2
    /// are the rates of theta' = -M theta (Sylvester's formula).
    fn of(network: &Network, coil: usize, ahead_s: f64) -> Self {
        let backing = network.coils + coil;
        let links = network.links(coil).iter();
        let link: f64 = links.filter(|l| l.to as usize == backing).map(|l| l.conductance).sum();
        let heat = [network.heat[coil], network.heat[backing]];
        let rate = [network.loss[coil] / heat[0], network.loss[backing] / heat[1]];
        let cross = [link / heat[0], link / heat[1]];
        let middle = (rate[0] + rate[1]) / 2.0;
        let half = (rate[0] - rate[1]) / 2.0;
        let apart = (half * half + cross[0] * cross[1]).sqrt().max(1e-12 * middle);
        let (fast, slow) = (middle + apart, (middle - apart).max(1e-12 * middle));
        let of = |f: &dyn Fn(f64) -> f64| {
            let tilt = (f(fast) - f(slow)) / (fast - slow);
            let on = |rate: f64| f(slow) + tilt * (rate - slow);
            [[on(rate[0]), -tilt * cross[0]], [-tilt * cross[1], on(rate[1])]]
        };
        let spent = of(&|rate| -libm::expm1(-rate * ahead_s) / rate);
        Self {
            keep: of(&|rate| libm::exp(-rate * ahead_s)),
            warm: spent.map(|row| [row[0] / heat[0], row[1] / heat[1]]),
            link,
            pulse: 0.0,
            power_of: 1.0,
        }
    }

    /// The part of `power` (lately, and its pulses, W) that fits into the box; may be below 0.
    fn fits(
        &self,
        network: &Network,
        coil: usize,
        rise: &[f64],
        bound: &[f64],
        [lately_w, pulse_w]: [f64; 2],
    ) -> f64 {
        let backing = network.coils + coil;
        let own = [rise[coil], rise[backing]];
        let inflow = [
            network.inflow(coil, rise) - self.link * own[1],
            network.inflow(backing, rise) - self.link * own[0],
        ];
        let end = |row: usize| {
            let kept = self.keep[row][0] * own[0] + self.keep[row][1] * own[1];
            kept + self.warm[row][0] * inflow[0] + self.warm[row][1] * inflow[1]
        };
        let winding = (FILL * bound[coil] - end(0))
            / (self.warm[0][0] * lately_w + self.pulse * (pulse_w - lately_w).max(0.0));
        let behind = (FILL * bound[backing] - end(1)) / (self.warm[1][0] * lately_w);
        winding.min(behind)
    }
}
