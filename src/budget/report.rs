//! What a display can do: continuous duty, seconds of full drive, supply, and what binds.
//!
//! Figures in time come from the real stage, fed with wishes for full duty in coarse steps.

use serde::Serialize;

use super::check::check;
use super::drive::Drivers;
use super::network::{Network, Node};
use super::permit::Timing;
use super::rails::counted_a;
use super::rises::nominal_full_power;
use super::{Budget, BudgetError, BudgetSettings, Start};
use crate::coil::chords::Chords;
use crate::coil::copper::COPPER_K_C;
use crate::units::{Amps, Celsius, Seconds, Share};

/// Steps of the first ten minutes, s: short against every winding.
const FINE_S: f64 = 0.1;

/// Steps from there to four hours, s: short against every backing.
const COARSE_S: f64 = 10.0;

/// Ten minutes, in fine steps.
const FINE_STEPS: u32 = 6_000;

/// From ten minutes to four hours, in coarse steps.
const COARSE_STEPS: u32 = 1_380;

/// Displays up to this size are also asked what each coil may do alone, which costs one solution
/// of the whole network per coil.
const ALONE_UP_TO: usize = 1024;

/// What keeps a coil from more duty when all coils ask for everything for hours.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Binds {
    /// Nothing: it has full duty.
    Nothing,
    /// Heat. The node is the one whose limit decides the continuous power of all coils.
    Heat(Node),
    /// The driver: heat grants less for ever than the least duty that it makes.
    Driver,
    /// The rail with this name.
    Rail(String),
}

/// What a coil does in the end when it asks for everything for hours, the supply set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum InTheEnd {
    /// It is on, with the duty that heat grants.
    Holds,
    /// Heat grants less than the driver's least duty: it goes off, cools, comes on again, and so on.
    OnAndOff,
    /// The same, and it never cools enough to come on again.
    Off,
}

/// One coil, all others driven the same way unless said otherwise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoilReport {
    /// Power at full duty and room temperature, W, as stated (no margin, no power factor).
    pub full_w: f64,
    /// Current at full duty and room temperature, A, as stated.
    pub full_a: f64,
    /// Share of its full power that heat grants it for ever, from any start.
    pub floor_share: f64,
    /// Duty that heat grants for ever when all coils ask for everything: with the winding at its
    /// bound and the PWM of this coil.
    pub continuous_duty: f64,
    /// The same if the PWM were slow against L/R (the safe assumption).
    pub continuous_duty_slow: f64,
    /// Duty that heat grants for ever when only this coil is driven: the power that brings its
    /// winding to its bound with everything else at rest. Not computed for very large displays.
    pub alone_duty: Option<f64>,
    /// The least duty other than off that its driver makes: one step, or its shortest pulse.
    pub least_duty: f64,
    /// What comes of it at full wish when that is more than heat grants for ever.
    pub in_the_end: InTheEnd,
    /// Seconds of full drive from cold, all coils driven and the supply set aside, until heat
    /// first takes something away; none if it never does within four hours.
    pub full_drive_s: Option<f64>,
    /// Duty granted at full wish after ten minutes from cold, rails included.
    pub duty_10_min: f64,
    /// Winding then, C.
    pub coil_10_min_c: f64,
    /// Backing then, C.
    pub backing_10_min_c: f64,
    /// Duty granted at full wish after four hours from cold, rails included.
    pub duty_4_h: f64,
    /// Winding then, C.
    pub coil_4_h_c: f64,
    /// Backing then, C.
    pub backing_4_h_c: f64,
    /// This coil's part of what its rail would give with all coils in full, 0 to 1.
    pub rail_part: f64,
    /// What binds it in the end.
    pub binds: Binds,
}

/// One rail.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RailReport {
    /// As the maker calls it.
    pub name: String,
    /// Mean current with all coils in full, A, counted as the limiter does: with cold windings (10 C)
    /// and each coil's power factor.
    pub all_full_a: f64,
    /// What it may give, A.
    pub limit_a: f64,
    /// The share of all coils' full power that it can feed at once, at most 1.
    pub feeds: f64,
}

/// What a display allows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Per coil, in display order.
    pub coils: Vec<CoilReport>,
    /// Per rail.
    pub rails: Vec<RailReport>,
    /// The node whose limit decides the continuous power of all coils.
    pub binding: Node,
    /// The enclosure after ten minutes and four hours of full wish, C.
    pub enclosure_c: Option<[f64; 2]>,
}

/// What one run at full wish showed.
struct Run {
    first_cut_s: Vec<Option<f64>>,
    /// After ten minutes and four hours: codes, most that heat allowed, node temperatures.
    moments: [Moment; 2],
    /// Which coils were on at all in the later half of the coarse steps.
    on_late: Vec<bool>,
}

struct Moment {
    codes: Vec<u32>,
    most: Vec<u32>,
    node_c: Vec<f64>,
}

/// Runs the budget of a display at full wish and sums up what it allows.
///
/// # Errors
/// As [`Budget::new`].
pub fn report(settings: &BudgetSettings) -> Result<Report, BudgetError> {
    check(settings)?;
    let settings = &settings.straight();
    let mut unfed = settings.clone();
    unfed.rails.iter_mut().for_each(|rail| rail.limit = Amps(f64::INFINITY));
    let rails = rail_reports(settings);
    let free = run(&unfed)?;
    let short = rails.iter().any(|rail| rail.feeds < 1.0);
    let fed = if short { Some(run(settings)?) } else { None };
    let budget = Budget::new(settings)?;
    let [early, late] = &fed.as_ref().unwrap_or(&free).moments;
    let network = Network::new(settings)?;
    let drivers = Drivers::new(&settings.coils);
    let warm_most = &free.moments[1].most;
    let mut comes_on = None;
    let mut coils = Vec::with_capacity(settings.coils.len());
    for (index, wired) in drivers.all().enumerate() {
        let Some(mut coil) = continuous(settings, &budget, &network, &rails, index)? else {
            continue;
        };
        coil.full_drive_s = free.first_cut_s.get(index).copied().flatten();
        let duty = |moment: &Moment| moment.codes.get(index).map_or(0.0, |code| wired.duty(*code));
        let warm = |moment: &Moment, node: usize| moment.node_c.get(node).copied().unwrap_or(0.0);
        let backing = settings.coils.len() + index;
        coil.duty_10_min = duty(early);
        coil.duty_4_h = duty(late);
        (coil.coil_10_min_c, coil.backing_10_min_c) = (warm(early, index), warm(early, backing));
        (coil.coil_4_h_c, coil.backing_4_h_c) = (warm(late, index), warm(late, backing));
        (coil.least_duty, coil.in_the_end) = (wired.duty(wired.least().max(1)), InTheEnd::Holds);
        let makes_none = |most: u32| wired.made(most) == 0;
        if makes_none(wired.whole(coil.continuous_duty))
            || warm_most.get(index).is_some_and(|most| makes_none(*most))
        {
            let comes_on = match &mut comes_on {
                Some(known) => known,
                unknown => unknown.insert(coming_on(&unfed, &free)?),
            };
            let on = comes_on.get(index).is_some_and(|on| *on);
            coil.in_the_end = if on { InTheEnd::OnAndOff } else { InTheEnd::Off };
        }
        coil.binds = match (late.codes.get(index), late.most.get(index)) {
            (Some(code), Some(most)) if *code < wired.made(*most) => {
                let rail = settings.coils.get(index).and_then(|coil| rails.get(coil.rail));
                Binds::Rail(rail.map_or_else(String::new, |rail| rail.name.clone()))
            }
            _ if coil.in_the_end != InTheEnd::Holds => Binds::Driver,
            (Some(_), Some(most)) if wired.duty(*most) < 1.0 => Binds::Heat(budget.binding()),
            _ => Binds::Nothing,
        };
        coils.push(coil);
    }
    let enclosure = 2 * settings.coils.len();
    let around = early.node_c.get(enclosure).zip(late.node_c.get(enclosure));
    Ok(Report {
        coils,
        rails,
        binding: budget.binding(),
        enclosure_c: around.map(|(early, late)| [*early, *late]),
    })
}

/// What holds for ever, and the supply; the rest is filled in from the runs.
fn continuous(
    settings: &BudgetSettings,
    budget: &Budget,
    network: &Network,
    rails: &[RailReport],
    index: usize,
) -> Result<Option<CoilReport>, BudgetError> {
    let (Some(coil), Some(bound_c), Some(floor_w)) =
        (settings.coils.get(index), budget.bound_c().get(index), budget.floor_w().get(index))
    else {
        return Ok(None);
    };
    let full_w = nominal_full_power(settings, coil).0;
    let volts = settings.rails.get(coil.rail).map_or(f64::INFINITY, |rail| rail.volts.0);
    let all_full_a = rails.get(coil.rail).map_or(f64::INFINITY, |rail| rail.all_full_a);
    // A warm winding takes less power at the same duty, so the same power is more duty.
    let warm = (COPPER_K_C + bound_c) / (COPPER_K_C + settings.room.0);
    let share = |power_w: f64| (power_w / (full_w * coil.power_scale) * warm).min(1.0);
    let chords = Chords::new(coil.period_over_tau);
    let alone_duty = if settings.coils.len() <= ALONE_UP_TO {
        let mut power = vec![0.0; network.nodes()];
        power.iter_mut().skip(index).take(1).for_each(|own| *own = 1.0);
        let rise = network.settled(&power)?;
        let own = rise.get(index).map(|kelvin| (bound_c - settings.room.0) / kelvin);
        own.map(|power_w| chords.duty(share(power_w)))
    } else {
        None
    };
    Ok(Some(CoilReport {
        full_w,
        full_a: full_w / volts,
        floor_share: budget.floor_share().min(1.0),
        continuous_duty: chords.duty(share(*floor_w)),
        continuous_duty_slow: share(*floor_w),
        alone_duty,
        least_duty: 0.0,
        in_the_end: InTheEnd::Holds,
        full_drive_s: None,
        duty_10_min: 0.0,
        coil_10_min_c: 0.0,
        backing_10_min_c: 0.0,
        duty_4_h: 0.0,
        coil_4_h_c: 0.0,
        backing_4_h_c: 0.0,
        rail_part: counted_a(settings, coil) / all_full_a,
        binds: Binds::Nothing,
    }))
}

fn rail_reports(settings: &BudgetSettings) -> Vec<RailReport> {
    let all_full_a = |rail: usize| {
        let fed = settings.coils.iter().filter(|coil| coil.rail == rail);
        fed.map(|coil| counted_a(settings, coil)).sum()
    };
    let report = |(index, rail): (usize, &super::Rail)| {
        let all_full_a: f64 = all_full_a(index);
        RailReport {
            name: rail.name.clone(),
            all_full_a,
            limit_a: rail.limit.0,
            feeds: if all_full_a > rail.limit.0 { rail.limit.0 / all_full_a } else { 1.0 },
        }
    };
    settings.rails.iter().enumerate().map(report).collect()
}

/// The same display without what is over within seconds: that has no place in steps of seconds.
fn at_once(settings: &BudgetSettings) -> BudgetSettings {
    let mut settings = settings.clone();
    for rail in &mut settings.rails {
        (rail.ramp, rail.slew_a_per_s) = (Seconds(0.0), f64::INFINITY);
    }
    settings
}

/// Four hours of full wish from cold.
fn run(settings: &BudgetSettings) -> Result<Run, BudgetError> {
    let mut settings = at_once(settings);
    settings.start = Start::Cold;
    let real = Timing::of(&settings);
    let wishes = vec![Share::ALL; settings.coils.len()];
    let full: Vec<u32> = settings.coils.iter().map(|coil| u32::from(coil.steps)).collect();
    let mut first_cut_s = vec![None; settings.coils.len()];
    let mut moments = Vec::with_capacity(2);
    let mut on_late = vec![false; wishes.len()];
    let mut start_s = 0.0;
    for (frame_s, steps) in [(FINE_S, FINE_STEPS), (COARSE_S, COARSE_STEPS)] {
        let horizon_s = real.horizon_s.max(frame_s);
        let timing = Timing { frame_s, frames: 1, horizon_s, copper_s: real.copper_s };
        let mut budget = Budget::with_timing(&settings, timing)?;
        let mut codes = vec![0; wishes.len()];
        for step in 0..steps {
            for (code, duty) in codes.iter_mut().zip(budget.permit(&wishes)) {
                *code = duty.code().unsigned_abs();
            }
            for (on, code) in on_late.iter_mut().zip(&codes) {
                *on = *code > 0 || (*on && step > steps / 2);
            }
            let most = budget.most().iter().zip(&full);
            for (cut_s, (most, full)) in first_cut_s.iter_mut().zip(most) {
                if cut_s.is_none() && most < full {
                    *cut_s = Some(start_s + f64::from(step) * frame_s);
                }
            }
        }
        start_s += f64::from(steps) * frame_s;
        let node_c = budget.load().node_c.to_vec();
        settings.start = Start::Nodes(node_c.iter().copied().map(Celsius).collect());
        moments.push(Moment { codes, most: budget.most().to_vec(), node_c });
    }
    let moments = <[Moment; 2]>::try_from(moments).map_err(|_| BudgetError::NoCoils)?;
    Ok(Run { first_cut_s, moments, on_late })
}

/// Which coils come on at all in the end. Coarse steps are too long for those that only come on for a
/// moment, so ten more minutes are looked at in fine ones.
fn coming_on(settings: &BudgetSettings, run: &Run) -> Result<Vec<bool>, BudgetError> {
    let mut settings = at_once(settings);
    let [_, late] = &run.moments;
    settings.start = Start::Nodes(late.node_c.iter().copied().map(Celsius).collect());
    let real = Timing::of(&settings);
    let horizon_s = real.horizon_s.max(FINE_S);
    let timing = Timing { frame_s: FINE_S, frames: 1, horizon_s, copper_s: real.copper_s };
    let mut budget = Budget::with_timing(&settings, timing)?;
    let wishes = vec![Share::ALL; settings.coils.len()];
    let mut comes_on = run.on_late.clone();
    for _ in 0..FINE_STEPS {
        for (on, duty) in comes_on.iter_mut().zip(budget.permit(&wishes)) {
            *on |= duty.code() != 0;
        }
    }
    Ok(comes_on)
}
