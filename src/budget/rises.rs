//! From settings to powers and rises: what full duty heats, what limits allow, how a run starts.

#![expect(clippy::indexing_slicing, reason = "nodes are counted from the same settings")]

use super::{BudgetSettings, CoilBudget, Start};
use crate::coil::copper::resistance_at;
use crate::units::Watts;

/// Full power of a coil at room temperature, W, with its factor for what is not measured.
pub(super) fn full_power(settings: &BudgetSettings, coil: &CoilBudget) -> f64 {
    nominal_full_power(settings, coil).0 * coil.power_scale
}

/// Full power of a coil at room temperature.
pub(super) fn nominal_full_power(settings: &BudgetSettings, coil: &CoilBudget) -> Watts {
    let volts = settings.rails.get(coil.rail).map_or(0.0, |rail| rail.volts.0);
    Watts(volts * volts / resistance_at(coil.resistance, coil.reference, settings.room).0)
}

/// Per node: the stated limit, C.
pub(super) fn stated_limits(settings: &BudgetSettings) -> Vec<f64> {
    let coils = settings.coils.iter().map(|coil| coil.heat.coil_limit.0);
    let backings = settings.coils.iter().map(|coil| coil.heat.backing_limit.0);
    let around = settings
        .enclosure
        .iter()
        .map(|enclosure| enclosure.limit.map_or(f64::INFINITY, |limit| limit.0));
    coils.chain(backings).chain(around).collect()
}

/// Per node: the rise that its limit allows, less its margin. The enclosure has the largest margin
/// of any coil, as it takes the errors of all.
pub(super) fn allowed_rises(settings: &BudgetSettings) -> Vec<f64> {
    let margins = settings.coils.iter().map(|coil| coil.margin);
    let largest = margins.clone().fold(0.0, f64::max);
    let margins = margins.clone().chain(margins).chain([largest]);
    let limits = stated_limits(settings);
    limits.iter().zip(margins).map(|(c, margin)| (c - settings.room.0) / (1.0 + margin)).collect()
}

/// Per node: rise over the room at the first frame. Nothing counts as colder than the room: a
/// winding that is takes more power at first, and is still never warmer than one that is not.
pub(super) fn start_rises(settings: &BudgetSettings, coils: usize, bound: &[f64]) -> Vec<f64> {
    match &settings.start {
        Start::Cold => vec![0.0; bound.len()],
        Start::Warm => {
            let as_backing = |coil: usize| bound[coil].min(bound[coils + coil]);
            (0..coils).map(as_backing).chain(bound[coils..].iter().copied()).collect()
        }
        Start::Unknown => bound.to_vec(),
        Start::Nodes(nodes) => {
            nodes.iter().map(|node| (node.0 - settings.room.0).max(0.0)).collect()
        }
    }
}
