//! How warm everything is at most after a time that nobody watched.

use super::check::check;
use super::heat::Heat;
use super::network::Network;
use super::rises::{allowed_rises, full_power, start_rises};
use super::{BudgetError, BudgetSettings};
use crate::units::{Celsius, Seconds};

/// Longer than this with coils perhaps driven, and everything counts as hot as it may ever be, s.
const LONGEST_DRIVEN_S: f64 = 600.0;

/// Rests longer than this many steps of the fastest winding count as this long. That is days for
/// any real coil, and never too cool: more rest is never warmer.
const MOST_STEPS: f64 = 100_000.0;

/// For the same reason a rest may end once nothing is this much warmer than the room, K; whether it is
/// so is asked every so many steps.
const COLD_K: f64 = 1e-3;
const STEPS_A_LOOK: f64 = 500.0;

/// The most that every node can have, starting from [`BudgetSettings::start`], when this budget let
/// anything at all be driven for `driven` and nothing for `off` after that. In the order of
/// [`Start::Nodes`](super::Start::Nodes).
///
/// No course of duties is warmer, for three reasons that hold node by node. The network is linear
/// and more power anywhere is never colder anywhere, so full power on all coils, counted with
/// copper as cold as the room, is above whatever was granted. A budget that starts inside its bounds
/// never leaves them, so nothing is above its bound either (or above its start, where that was
/// higher). And of two starts the one that is nowhere colder stays so while all cools. Cooling
/// follows the same equations as the running model, towards the stated room.
///
/// Times that are not above 0 count as none.
///
/// # Errors
/// As [`Budget::new`](super::Budget::new).
pub fn rested(
    settings: &BudgetSettings,
    driven: Seconds,
    off: Seconds,
) -> Result<Vec<Celsius>, BudgetError> {
    check(settings)?;
    let network = Network::new(settings)?;
    let coils = network.coils;
    let full_w: Vec<f64> = settings.coils.iter().map(|coil| full_power(settings, coil)).collect();
    let bound = network.allowed_box(&full_w, &allowed_rises(settings))?.rise;
    let start = start_rises(settings, coils, &bound);
    // A start outside the bounds comes back by itself; no node passes the highest stretch of them.
    let stretch = start.iter().zip(&bound).map(|(rise, most)| rise / most).fold(1.0, f64::max);
    let mut heat = Heat::new(&network, start);
    if driven.0 > LONGEST_DRIVEN_S {
        heat.rise.fill(f64::INFINITY);
    } else if driven.0 > 0.0 {
        heat.step(&network, &full_w, driven.0);
    }
    for (rise, most) in heat.rise.iter_mut().zip(&bound) {
        *rise = rise.min(stretch * most);
    }
    let mut left_s = off.0.min(MOST_STEPS * heat.step_s());
    while left_s > 0.0 && heat.rise.iter().any(|rise| rise.abs() > COLD_K) {
        let span_s = left_s.min(STEPS_A_LOOK * heat.step_s());
        heat.step(&network, &[], span_s);
        left_s -= span_s;
    }
    Ok(heat.rise.iter().map(|rise| Celsius(settings.room.0 + rise)).collect())
}
