//! The planner: one gain per coil for a whole song, as large as the heat allows.
//!
//! A song that asks for more than its coils can stand loses its loudest moments to the limiter. Who
//! has the whole song can do better: turn each coil down by one factor, so that the limiter has
//! (nearly) nothing left to do. The shape of the motion stays exactly, and what the cold iron can
//! swallow in a few minutes is used up, which a fixed duty never does.
//!
//! [`plan`] lets the network run through the song's slots ([`Rehearsal`]) with its gains, looks how
//! far each winding fills its box at the moments when the limiter would look, loudest pulse
//! included, and moves the gains until the fullest moment just fits. Backings, enclosure and the time
//! after the song need no look: while windings stay in the box, so does everything else, for ever.
//! Supplies are left out: this is where a search begins that makes the frames again and measures
//! (`run::plan`), rails and all. The plan is a wish like any other; the limiter stands behind it.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil or node")]

use super::check::check;
use super::clamp::Clamp;
use super::drive::{Drivers, Pull};
use super::heat::Heat;
use super::limiter::Limiter;
use super::network::Network;
use super::permit::Timing;
use super::rails::counted_a;
use super::rehearsal::Rehearsal;
use super::rises::{allowed_rises, full_power, start_rises};
use super::{BudgetError, BudgetSettings};
use crate::coil::copper::COPPER_K_C;

/// How far the fullest moment may fill the box.
const FILL: f64 = 0.996;
/// Rounds of adjusting; each costs one run through the slots.
const ROUNDS: usize = 40;
/// Gains are found when none moves by more than this part.
const STILL: f64 = 5e-4;
/// A winding that starts this near its bound is let cool for a while before its pulses count: else
/// one hot second would turn down a whole song.
const HOT: f64 = 0.8;
const COOLING_S: f64 = 20.0;

/// Gains for a song, and what they rest on.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Per coil, above 0 and no more than 1.
    pub gains: Vec<f64>,
    /// Per coil: the power of the gain with which its heat goes; 1 for slow PWM, 2 for smooth
    /// current, or as measured.
    pub powers: Vec<f64>,
    /// Per coil: whether a gain turns it down. What a coil with a law of pull is wished is not less
    /// heat by any fixed share when it is less, so it stands outside, with a gain of 1.
    pub turns: Vec<bool>,
    /// Per coil: the gain under which even a full wish can be held for ever.
    pub in_heat: Vec<f64>,
    /// Per coil: the gain under which full wishes of all coils of its rail are within its limit.
    pub in_supply: Vec<f64>,
}

impl Plan {
    /// No gains yet, for the coils of a budget.
    ///
    /// # Errors
    /// As [`Budget::new`](super::Budget::new).
    pub fn none(settings: &BudgetSettings) -> Result<Self, BudgetError> {
        let clamp = Clamp::new(settings)?;
        let drivers = Drivers::new(&settings.coils);
        let powers: Vec<f64> = drivers.all().map(|wired| wired.power_of_gain()).collect();
        let rails = settings.rails.iter().enumerate().map(|(number, rail)| {
            let own = settings.coils.iter().filter(|coil| coil.rail == number);
            rail.limit.0 / own.map(|coil| counted_a(settings, coil)).sum::<f64>()
        });
        let rails: Vec<f64> = rails.collect();
        let in_supply = settings.coils.iter().zip(&powers).map(|(coil, power)| {
            let share = rails.get(coil.rail).copied().unwrap_or(1.0);
            libm::pow(share.min(1.0), power.recip())
        });
        Ok(Self {
            gains: vec![1.0; powers.len()],
            turns: settings.coils.iter().map(|coil| coil.pull == Pull::Straight).collect(),
            in_heat: (0..powers.len()).map(|coil| clamp.most(coil)).collect(),
            in_supply: in_supply.collect(),
            powers,
        })
    }
}

/// The gains under which a song fills the box and the limiter hardly cuts. `song` was rehearsed
/// under `last`, and starts as `settings` say.
///
/// # Errors
/// As [`Budget::new`](super::Budget::new).
pub fn plan(settings: &BudgetSettings, song: &Rehearsal, last: &Plan) -> Result<Plan, BudgetError> {
    check(settings)?;
    let mut run = Run::new(settings, song)?;
    let mut gains = last.gains.clone();
    let mut fullest = vec![0.0; gains.len()];
    for round in 0..ROUNDS {
        let turned: Vec<f64> = gains
            .iter()
            .zip(&last.gains)
            .zip(&last.powers)
            .map(|((gain, before), &power)| libm::pow(gain / before, power))
            .collect();
        run.through(song, &turned, &mut fullest);
        // Whole steps first; later ones shorter, so that neighbours do not swing.
        let stride = if round < 8 { 1.0 } else { 0.6 };
        let mut moved: f64 = 0.0;
        for (coil, gain) in gains.iter_mut().enumerate() {
            let wants = song_top(&run, coil) * turned[coil];
            let always = wants <= run.limiter.floor_w[coil] && fullest[coil] > FILL;
            let next = if always || !last.turns[coil] {
                // What is always granted is nobody's fault.
                *gain
            } else {
                let factor = libm::pow(FILL / fullest[coil].max(1e-9), stride / last.powers[coil]);
                (*gain * factor.clamp(0.25, 4.0)).min(1.0)
            };
            moved = moved.max((next / *gain - 1.0).abs());
            *gain = next;
        }
        if moved < STILL {
            break;
        }
    }
    Ok(Plan { gains, ..last.clone() })
}

/// The highest power that a coil wants at any time, W at room temperature.
fn song_top(run: &Run, coil: usize) -> f64 {
    run.top[coil] * run.full_w[coil]
}

/// The network on its way through a song.
struct Run {
    network: Network,
    limiter: Limiter,
    full_w: Vec<f64>,
    room_k: f64,
    start: Vec<f64>,
    /// Per coil: highest heat share wanted.
    top: Vec<f64>,
    power: Vec<f64>,
    pulse: Vec<f64>,
}

impl Run {
    fn new(settings: &BudgetSettings, song: &Rehearsal) -> Result<Self, BudgetError> {
        let network = Network::new(settings)?;
        let full_w: Vec<f64> =
            settings.coils.iter().map(|coil| full_power(settings, coil)).collect();
        let allowed = network.allowed_box(&full_w, &allowed_rises(settings))?;
        let start = start_rises(settings, network.coils, &allowed.rise);
        let timing = Timing::of(settings);
        let mut top = vec![0.0_f64; network.coils];
        for row in song.rows() {
            for (top, slot) in top.iter_mut().zip(row) {
                *top = top.max(f64::from(slot.top));
            }
        }
        Ok(Self {
            limiter: Limiter::new(&network, &allowed, &full_w, settings.room.0, &timing),
            power: vec![0.0; network.coils],
            pulse: vec![0.0; network.coils],
            room_k: COPPER_K_C + settings.room.0,
            network,
            full_w,
            start,
            top,
        })
    }

    /// Runs through `song` with every coil's power `turned`, and sets `fullest`: how far each winding
    /// fills its box, as a share, at its fullest moment.
    fn through(&mut self, song: &Rehearsal, turned: &[f64], fullest: &mut [f64]) {
        let mut heat = Heat::new(&self.network, self.start.clone());
        let bound = self.limiter.bound().to_vec();
        let coils = self.network.coils;
        let hot: Vec<bool> = (0..coils).map(|c| self.start[c] > HOT * bound[c]).collect();
        fullest.fill(0.0);
        let mut time_s = 0.0;
        for row in song.rows() {
            for (coil, slot) in row.iter().enumerate() {
                let full_w = self.full_w[coil] * self.room_k / (self.room_k + heat.rise[coil]);
                self.power[coil] = f64::from(slot.mean) * turned[coil] * full_w;
                self.pulse[coil] = f64::from(slot.top) * turned[coil] * full_w;
            }
            for (coil, most) in fullest.iter_mut().enumerate() {
                if !hot[coil] || time_s > COOLING_S {
                    let before =
                        self.limiter.fills(&self.network, &heat.rise, coil, self.pulse[coil]);
                    *most = most.max(before);
                }
            }
            heat.step(&self.network, &self.power, song.slot_s());
            time_s += song.slot_s();
            for (coil, most) in fullest.iter_mut().enumerate() {
                if !hot[coil] || time_s > COOLING_S {
                    let after =
                        self.limiter.fills(&self.network, &heat.rise, coil, self.pulse[coil]);
                    *most = most.max(after);
                }
            }
        }
    }
}
