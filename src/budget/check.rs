//! Refusals: settings that cannot be a display, each with what to do about it.

use super::drive::check_pull;
use super::{BudgetSettings, CoilBudget, Polarity, Start};
use crate::coil::copper::COPPER_K_C;

/// Why a [`Budget`](super::Budget) was not built. Coils, rails and neighbours are counted from 0.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BudgetError {
    /// Nothing to drive.
    #[error("the display has no coils: give it at least one")]
    NoCoils,
    /// A number of one coil.
    #[error("coil {coil}: {what} is {value}: {cure}")]
    Coil {
        /// Its index.
        coil: usize,
        /// Which number, with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// What to do.
        cure: &'static str,
    },
    /// A number of one rail.
    #[error("rail {rail}: {what} is {value}: {cure}")]
    Rail {
        /// Its index.
        rail: usize,
        /// Which number, with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// What to do.
        cure: &'static str,
    },
    /// A pair of neighbours.
    #[error("neighbours {a} and {b}: {problem}")]
    Neighbours {
        /// One coil.
        a: u32,
        /// The other.
        b: u32,
        /// What is wrong and what to do.
        problem: &'static str,
    },
    /// A number of the display as a whole.
    #[error("{what} is {value}: {cure}")]
    Display {
        /// Which number, with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// What to do.
        cure: &'static str,
    },
    /// Heat that has nowhere to go.
    #[error(
        "coil {coil}: no path leads the heat of its {part} to the room: give one of its thermal \
         resistances (K/W) a finite value"
    )]
    NoWayOut {
        /// Its index.
        coil: usize,
        /// `winding` or `backing`.
        part: &'static str,
    },
    /// The equations of the network could not be solved to the accuracy that safety needs.
    #[error(
        "the thermal network of this display cannot be solved accurately: its thermal resistances \
         lie too many powers of ten apart; look for a K/W or W/K value with a slipped unit"
    )]
    Unsolved,
}

/// Windings and backings that follow in less than this are a slipped unit, not a coil.
pub(super) const SHORTEST_TIME_CONSTANT_S: f64 = 1e-3;

/// Finite and above nothing.
fn positive(value: f64) -> bool {
    value.is_finite() && value > 0.0
}

/// Finite and not below nothing.
fn not_negative(value: f64) -> bool {
    value.is_finite() && value >= 0.0
}

/// Refuses settings with numbers that cannot be.
pub(super) fn check(settings: &BudgetSettings) -> Result<(), BudgetError> {
    if settings.coils.is_empty() {
        return Err(BudgetError::NoCoils);
    }
    check_display(settings)?;
    check_rails(settings)?;
    for (index, coil) in settings.coils.iter().enumerate() {
        check_coil(settings, index, coil)?;
    }
    check_neighbours(settings)?;
    check_start(settings)
}

fn check_display(settings: &BudgetSettings) -> Result<(), BudgetError> {
    let room_c = settings.room.0;
    let tell = |ok: bool, what, value, cure| {
        if ok { Ok(()) } else { Err(BudgetError::Display { what, value, cure }) }
    };
    tell(room_c > -100.0 && room_c < 200.0, "the room (C)", room_c, "give its temperature")?;
    let (hold_s, knee_s) = (settings.hold_s.0, settings.knee_s.0);
    let span = "give a time of 0 s or more";
    tell(not_negative(hold_s), "the driver's hold (s)", hold_s, span)?;
    tell(not_negative(knee_s), "the knee (s)", knee_s, span)?;
    let Some(enclosure) = settings.enclosure else { return Ok(()) };
    let (heat, out) = (enclosure.heat.0, enclosure.to_room.0);
    tell(positive(heat), "the enclosure's heat capacity (J/K)", heat, "give more than 0")?;
    tell(positive(out), "the enclosure's way to the room (K/W)", out, "give more than 0, finite")?;
    let limit_c = enclosure.limit.map_or(f64::INFINITY, |limit| limit.0);
    tell(
        limit_c > room_c,
        "the enclosure's limit (C)",
        limit_c,
        "it must lie above the room, or nothing may ever be driven",
    )
}

fn check_rails(settings: &BudgetSettings) -> Result<(), BudgetError> {
    for (rail, given) in settings.rails.iter().enumerate() {
        let tell = |ok: bool, what, value, cure| {
            if ok { Ok(()) } else { Err(BudgetError::Rail { rail, what, value, cure }) }
        };
        tell(positive(given.volts.0), "its voltage (V)", given.volts.0, "give more than 0")?;
        let limit_a = given.limit.0;
        tell(
            limit_a > 0.0,
            "its current limit (A)",
            limit_a,
            "give the mean current that its supply and fuse can stand",
        )?;
        let ramp_s = given.ramp.0;
        tell(not_negative(ramp_s), "its start-up ramp (s)", ramp_s, "give a time of 0 s or more")?;
        let slew = given.slew_a_per_s;
        tell(slew > 0.0, "its slew limit (A/s)", slew, "give more than 0; infinity for none")?;
    }
    Ok(())
}

fn check_coil(
    settings: &BudgetSettings,
    index: usize,
    coil: &CoilBudget,
) -> Result<(), BudgetError> {
    let tell = |ok: bool, what, value, cure| {
        if ok { Ok(()) } else { Err(BudgetError::Coil { coil: index, what, value, cure }) }
    };
    let above_0 = "give more than 0";
    let ohms = coil.resistance.0;
    tell(positive(ohms), "its resistance (ohm)", ohms, "measure it, or give more than 0")?;
    let reference_c = coil.reference.0;
    tell(
        reference_c.is_finite() && reference_c > -COPPER_K_C,
        "the temperature of its resistance (C)",
        reference_c,
        "give the temperature at which it was measured",
    )?;
    tell(
        coil.rail < settings.rails.len(),
        "the index of its rail",
        coil.rail as f64,
        "no such rail: the first is 0",
    )?;
    let x = coil.period_over_tau;
    tell(x >= 0.0, "its PWM period over L/R", x, "give 0 or more; infinity when not known")?;
    tell(not_negative(coil.margin), "its margin", coil.margin, "give a share of 0 or more")?;
    let scale = coil.power_scale;
    tell(scale.is_finite() && scale >= 1.0, "its power factor", scale, "give 1 or more")?;
    let heat = coil.heat;
    tell(positive(heat.coil.0), "its heat capacity (J/K)", heat.coil.0, above_0)?;
    tell(positive(heat.backing.0), "its backing's heat capacity (J/K)", heat.backing.0, above_0)?;
    let path = "give more than 0; infinity when there is no such path";
    let to_backing = heat.coil_to_backing.0;
    tell(to_backing > 0.0, "winding to backing (K/W)", to_backing, path)?;
    let around = heat.backing_to_around.0;
    tell(around > 0.0, "backing to surroundings (K/W)", around, path)?;
    let direct = heat.coil_to_around.0;
    tell(direct > 0.0, "winding to surroundings (K/W)", direct, path)?;
    let room_c = settings.room.0;
    let above_room = "it must be finite and above the room, or the coil may never be driven: raise \
                      it or cool the room";
    let in_reach = |limit_c: f64| limit_c.is_finite() && limit_c > room_c;
    tell(in_reach(heat.coil_limit.0), "its limit (C)", heat.coil_limit.0, above_room)?;
    let backing_c = heat.backing_limit.0;
    tell(in_reach(backing_c), "its backing's limit (C)", backing_c, above_room)?;
    let least = coil.least_duty;
    tell((0.0..=1.0).contains(&least), "its least duty", least, "give a share from 0 to 1")?;
    let rest_s = coil.turn_rest.0;
    tell(not_negative(rest_s), "its rest between signs (s)", rest_s, "give a time of 0 s or more")?;
    let most = match coil.polarity {
        Polarity::Unipolar => u16::MAX,
        Polarity::SignMagnitude => i16::MAX.unsigned_abs(),
    };
    let steps = coil.steps;
    let fits = "give 1 to 65535, for a bridge 1 to 32767";
    tell((1..=most).contains(&steps), "its driver's steps", f64::from(steps), fits)?;
    check_pull(settings, index, coil)
}

fn check_neighbours(settings: &BudgetSettings) -> Result<(), BudgetError> {
    let coils = settings.coils.len();
    let mut pairs = Vec::with_capacity(settings.neighbours.len());
    for pair in &settings.neighbours {
        let (a, b) = (pair.a.0, pair.b.0);
        let refuse = |problem| Err(BudgetError::Neighbours { a, b, problem });
        if pair.a.index() >= coils || pair.b.index() >= coils {
            return refuse("no such coil: the first is 0");
        }
        if a == b {
            return refuse("a coil is no neighbour of itself: name two coils");
        }
        if !not_negative(pair.coils.0) || !not_negative(pair.backings.0) {
            return refuse("a conductance (W/K) must be 0 or more");
        }
        pairs.push((a.min(b), a.max(b)));
    }
    pairs.sort_unstable();
    for two in pairs.windows(2) {
        if let [(a, b), second] = *two
            && (a, b) == second
        {
            return Err(BudgetError::Neighbours { a, b, problem: "given twice: leave one out" });
        }
    }
    Ok(())
}

fn check_start(settings: &BudgetSettings) -> Result<(), BudgetError> {
    let Start::Nodes(nodes) = &settings.start else { return Ok(()) };
    let expected = 2 * settings.coils.len() + usize::from(settings.enclosure.is_some());
    if nodes.len() != expected {
        return Err(BudgetError::Display {
            what: "the number of start temperatures",
            value: nodes.len() as f64,
            cure: "give one per winding, then one per backing, then the enclosure's if there is one",
        });
    }
    match nodes.iter().find(|node| !node.0.is_finite()) {
        Some(node) => Err(BudgetError::Display {
            what: "a start temperature (C)",
            value: node.0,
            cure: "give a finite number, or start as unknown",
        }),
        None => Ok(()),
    }
}
