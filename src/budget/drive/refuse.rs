//! Laws that cannot be driven, each with what to do about it.

use super::curve::Curve;
use super::settings::{Pull, PullRange, PullSettings};
use crate::budget::{BudgetError, BudgetSettings, CoilBudget, Polarity};
use crate::units::Volts;

/// Longer rises and pulses are a slipped unit, s.
const LONGEST_S: f64 = 10.0;

/// Why a law cannot be driven.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PullFault {
    /// Which number, with its unit.
    pub what: &'static str,
    /// As given.
    pub value: f64,
    /// What to do.
    pub cure: &'static str,
}

fn tell(ok: bool, what: &'static str, value: f64, cure: &'static str) -> Result<(), PullFault> {
    if ok { Ok(()) } else { Err(PullFault { what, value, cure }) }
}

/// Refuses what coil number `index` cannot do.
pub(in crate::budget) fn check_pull(
    settings: &BudgetSettings,
    index: usize,
    coil: &CoilBudget,
) -> Result<(), BudgetError> {
    let Pull::Law(pull) = &coil.pull else { return Ok(()) };
    let volts = settings.rails.get(coil.rail).map_or(Volts(0.0), |rail| rail.volts);
    let fault = pull_fault(pull, coil.polarity == Polarity::SignMagnitude, volts);
    fault.map_err(|fault| BudgetError::Coil {
        coil: index,
        what: fault.what,
        value: fault.value,
        cure: fault.cure,
    })
}

/// Whether a law can be driven, one way or both, from so many volts.
///
/// # Errors
/// With the first number that cannot be.
pub fn pull_fault(pull: &PullSettings, two_way: bool, volts: Volts) -> Result<(), PullFault> {
    let law = pull.law;
    for (what, value) in [("the pull of its magnet", law.q0), ("its pull's c1", law.c1)] {
        tell(value.is_finite(), what, value, "give a finite number")?;
    }
    let c2 = law.c2;
    tell(
        c2.is_finite() && c2 >= 0.0,
        "its pull's c2",
        c2,
        "give 0 or more: a coil alone only pulls",
    )?;
    let positive = |value: f64| value.is_finite() && value > 0.0;
    tell(positive(pull.full.0), "its full current (A)", pull.full.0, "give more than 0")?;
    let most = pull.most_u;
    tell(most > 0.0 && most <= 1.0, "its most current", most, "give a share above 0, at most 1")?;
    let drop = pull.drop_share;
    tell(drop > 0.0 && drop <= 1.0, "its drop share", drop, "give a share above 0, at most 1")?;
    let lost = "give 0 V or more, less than its rail has";
    for (what, value) in [
        ("its switch's drop (V)", pull.switch_drop.0),
        ("its diode's drop (V)", pull.freewheel_drop.0),
    ] {
        tell((0.0..volts.0).contains(&value), what, value, lost)?;
    }
    let span = "give a time of 0 to 10 s";
    for (what, value) in [("its rise (s)", pull.rise.0), ("its release (s)", pull.release.0)] {
        tell((0.0..=LONGEST_S).contains(&value), what, value, span)?;
    }
    let curve = Curve::new(pull, two_way);
    let high = curve.highest();
    tell(
        high > law.q0,
        "the pull of its most current",
        high,
        "it must be above the magnet's: swap the coil's leads, or turn the magnet",
    )?;
    check_range(pull, &curve, two_way)
}

fn check_range(pull: &PullSettings, curve: &Curve, two_way: bool) -> Result<(), PullFault> {
    let (rest, high, drop) = (pull.law.q0, curve.highest(), pull.drop_share);
    if pull.range == PullRange::FromRest {
        return Ok(());
    }
    tell(
        high > 1.0,
        "the pull of its most current",
        high,
        "it never lifts the fluid: more bias or more current, or let wishes span the pull from rest",
    )?;
    let PullRange::Held { margin, at } = pull.range else { return Ok(()) };
    tell(
        rest < 1.0,
        "the pull of its magnet",
        rest,
        "it lifts the fluid by itself, and there is nothing to hold: move the magnet back",
    )?;
    tell((0.0..=1.0).contains(&margin), "its holding margin", margin, "give a share of 0 to 1")?;
    tell(at > 0.0 && at <= 1.0, "its lifting wish", at, "give a share above 0, at most 1")?;
    let hangs = rest > drop;
    let what = "the pull of its magnet";
    let one_way = "the magnet alone holds lifted fluid, so that it never comes down: bring the bias \
                   below the drop share, or drive both ways";
    tell(!hangs || two_way, what, rest, one_way)?;
    let weak = "it holds lifted fluid, and not even the most opposing current drops it: bring the \
                bias below the drop share";
    tell(!hangs || curve.lowest() < drop, what, rest, weak)?;
    let no_pulse = "the magnet alone holds lifted fluid: give the time of an opposing pulse that \
                    lets it go";
    tell(!hangs || pull.release.0 > 0.0, "its release (s)", pull.release.0, no_pulse)
}
