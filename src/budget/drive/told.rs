//! What the laws of a display come to, for people.

use serde::Serialize;

use super::curve::Curve;
use super::lifters::Electric;
use super::settings::{Pull, PullRange, PullSettings};
use crate::budget::{BudgetSettings, CoilBudget, Polarity};
use crate::coil::chords::Chords;
use crate::coil::copper::COPPER_K_C;

/// One coil with a law. Duties are those of a winding at room temperature, negative against the
/// magnet, above 1 where full duty is not enough; a warmer winding takes more duty for the same pull.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PullReport {
    /// Pull over weight with no current.
    pub rest_pull: f64,
    /// Pull over weight at full wish.
    pub most_pull: f64,
    /// The wish from which fluid lifts; none where it never does.
    pub lift_wish: Option<f64>,
    /// Duty that lifts it; none where none does.
    pub lift_duty: Option<f64>,
    /// Duty below which it drops; none where it never does.
    pub drop_duty: Option<f64>,
    /// Whether it stays up with the current off.
    pub magnet_holds: bool,
    /// Duty that holds it, with the stated margin; none where nothing is held.
    pub hold_duty: Option<f64>,
    /// Heat of that duty over the heat of the duty that lifts.
    pub hold_heat_of_lift: Option<f64>,
    /// The same without the margin: what holding can save at most.
    pub drop_heat_of_lift: Option<f64>,
}

/// Per coil, in display order: nothing for one without a law. From checked settings.
pub fn pull_reports(settings: &BudgetSettings) -> Vec<Option<PullReport>> {
    let report = |coil: &CoilBudget| match &coil.pull {
        Pull::Straight => None,
        Pull::Law(pull) => Some(report(settings, coil, pull)),
    };
    settings.coils.iter().map(report).collect()
}

fn report(settings: &BudgetSettings, coil: &CoilBudget, pull: &PullSettings) -> PullReport {
    let two_way = coil.polarity == Polarity::SignMagnitude;
    let curve = Curve::new(pull, two_way);
    let electric = Electric::new(settings, coil, pull);
    let means = electric.means();
    let mean = electric.mean_per_k * (COPPER_K_C + settings.room.0);
    let duty = |v: f64| {
        let size = means.duty((v * mean).abs());
        if v < 0.0 { -size } else { size }
    };
    let chords = Chords::new(coil.period_over_tau);
    let lifts = curve.highest() >= 1.0;
    let lift_duty = lifts.then(|| duty(curve.current(1.0)));
    let of_lift = |held: f64| {
        let lift = lift_duty.map_or(0.0, |lift| chords.heat(lift.max(0.0)));
        (lift > 0.0).then(|| chords.heat(held.max(0.0)) / lift)
    };
    let drops = curve.lowest() <= pull.drop_share;
    let drop_duty = drops.then(|| duty(curve.current(pull.drop_share)));
    let hold_duty = match pull.range {
        PullRange::Held { margin, .. } => {
            let v = curve.current((pull.drop_share * (1.0 + margin)).min(1.0));
            Some(duty(v.max(0.0)))
        }
        _ => None,
    };
    let lift_wish = match pull.range {
        PullRange::Held { at, .. } => at,
        PullRange::FromLift => 0.0,
        PullRange::FromRest => pull.lift_wish(two_way).max(0.0),
    };
    PullReport {
        rest_pull: curve.rest(),
        most_pull: curve.highest(),
        lift_wish: lifts.then_some(lift_wish),
        lift_duty,
        drop_duty,
        magnet_holds: curve.rest() >= pull.drop_share,
        hold_duty,
        hold_heat_of_lift: hold_duty.and_then(of_lift),
        drop_heat_of_lift: drop_duty.and_then(of_lift),
    }
}
