//! A display for the budget: coils, heat, rails, without names and options.

use super::check::{MOST_LINKS_A_COIL, places_of};
use super::display::{CoilType, Display, Trust};
use super::names::{self, Names};
use super::near::pairs_within;
use super::wishes;
use crate::budget::{self, BudgetSettings, CoilBudget, CoilHeat, Pull, Start};
use crate::units::{
    Amps, Celsius, CoilId, JoulesPerKelvin, KelvinPerWatt, Ohms, Rate, Seconds, Volts,
    WattsPerKelvin,
};

pub(super) fn seconds(ms: f64) -> Seconds {
    Seconds(ms / 1000.0)
}

/// A display alone, with no mapping and no sound: what the budget and people need of it. In the
/// [`Names`], mapping, routes and bands are empty. Wishes are shares of full duty, as whoever drives
/// without a mapping means duties.
pub fn prepare_display(display: &Display, rate: Rate, start: Start) -> (BudgetSettings, Names) {
    let (groups, coils) = names::coils(display);
    let names = Names {
        display: display.name.clone(),
        rails: display.rails.iter().map(|rail| rail.name.value.clone()).collect(),
        coils,
        groups,
        ..Names::default()
    };
    (budget_settings(display, rate, start), names)
}

/// The budget as a mapping sees it: where a coil's pull on the fluid is known, a wish is a share of it.
pub fn prepare_pulls(display: &Display, rate: Rate, start: Start) -> BudgetSettings {
    let mut settings = budget_settings(display, rate, start);
    wishes::lay(display, &mut settings);
    settings
}

fn budget_settings(display: &Display, rate: Rate, start: Start) -> BudgetSettings {
    let rail = |rail: &super::display::Rail| budget::Rail {
        name: rail.name.value.clone(),
        volts: Volts(rail.volts),
        limit: Amps(rail.limit_a.value),
        ramp: seconds(rail.ramp_ms),
        slew_a_per_s: rail.slew_a_per_s.unwrap_or(f64::INFINITY),
    };
    let space = |space: &super::display::Enclosure| budget::Enclosure {
        heat: JoulesPerKelvin(space.heat_j_per_k),
        to_room: KelvinPerWatt(space.to_room_k_per_w),
        limit: space.limit_c.as_ref().map(|limit| Celsius(limit.value)),
    };
    BudgetSettings {
        frame_rate: rate,
        hold_s: seconds(display.driver.hold_ms),
        knee_s: seconds(display.driver.knee_ms),
        ride: Seconds(0.0),
        room: Celsius(display.room_c.value),
        coils: coil_budgets(display),
        neighbours: neighbours(display),
        enclosure: display.enclosure.as_ref().map(space),
        rails: display.rails.iter().map(rail).collect(),
        start,
    }
}

fn coil_budgets(display: &Display) -> Vec<CoilBudget> {
    let mut budgets = Vec::with_capacity(display.coil_count());
    for block in &display.blocks {
        let Some(coil_type) = display.coil_types.get(block.coil_type) else { continue };
        let coil = CoilBudget {
            rail: block.rail,
            priority: block.priority,
            ..coil_budget(display, coil_type)
        };
        budgets.extend(std::iter::repeat_n(coil, block.channels.value.len()));
    }
    budgets
}

fn coil_budget(display: &Display, coil_type: &CoilType) -> CoilBudget {
    let (margin, power_scale) = match coil_type.trust {
        Trust::Estimate => (0.25, 1.16),
        Trust::Fit { margin_percent, power_percent } => {
            (margin_percent / 100.0, 1.0 + power_percent / 100.0)
        }
    };
    CoilBudget {
        rail: 0,
        priority: 1,
        resistance: Ohms(coil_type.resistance_ohm),
        reference: Celsius(coil_type.reference_c),
        period_over_tau: coil_type
            .period_over_tau(display.driver.pwm_hz.as_ref().map(|pwm| pwm.value)),
        heat: CoilHeat {
            coil: JoulesPerKelvin(coil_type.coil_j_per_k),
            backing: JoulesPerKelvin(coil_type.backing_j_per_k),
            coil_to_backing: KelvinPerWatt(coil_type.coil_to_backing_k_per_w),
            backing_to_around: KelvinPerWatt(coil_type.backing_to_around_k_per_w),
            coil_to_around: KelvinPerWatt(
                coil_type.coil_to_around_k_per_w.unwrap_or(f64::INFINITY),
            ),
            coil_limit: Celsius(coil_type.coil_limit_c.value),
            backing_limit: Celsius(display.backing_limit_c(coil_type)),
        },
        margin,
        power_scale,
        polarity: display.driver.polarity,
        steps: display.driver.steps,
        least_duty: display.driver.least_duty(),
        turn_rest: seconds(display.driver.bridge_zero_ms),
        pull: Pull::Straight,
    }
}

fn neighbours(display: &Display) -> Vec<budget::Neighbours> {
    let Some(near) = &display.neighbours else { return Vec::new() };
    if near.coils_w_per_k + near.backings_w_per_k <= 0.0 {
        return Vec::new();
    }
    let places = places_of(display);
    let most = places.len() * MOST_LINKS_A_COIL;
    let id = |index: usize| u32::try_from(index).ok().map(CoilId);
    let link = |(a, b)| {
        Some(budget::Neighbours {
            a: id(a)?,
            b: id(b)?,
            coils: WattsPerKelvin(near.coils_w_per_k),
            backings: WattsPerKelvin(near.backings_w_per_k),
        })
    };
    pairs_within(&places, near.within_mm.value, most).list.into_iter().filter_map(link).collect()
}
