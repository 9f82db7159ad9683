//! What wishes ask of coils whose pull on the fluid is known: reckoned from coil, magnet and fluid
//! ([`pulls`](super::pulls)), or stated.

use serde::Serialize;

use super::display::{Block, CoilType, Display};
use super::finding::{At, Finding, Weight};
use super::lifts::Lifts;
use super::limits::{
    HOLD_MARGIN, LAW_MAGNET, LAW_PER_A, LAW_PER_A2, LIFT_AT, MOST, RELEASES, RISES,
};
use super::limits_lift::DROP_SHARE;
use super::pulls::KnownPull;
use super::section::{Pad, Section};
use super::values::{Menu, Picked};
use super::words::counted;
use crate::budget::{BudgetSettings, Pull, PullRange, PullSettings, pull_fault};
use crate::coil::copper::resistance_at;
use crate::coil::lift::PullLaw;
use crate::coil::pwm::Drive;
use crate::units::{Amps, Celsius, Ohms, Seconds, Volts};

/// Pull of a kind of coil on the fluid over the weight to lift, against its current I: `magnet` +
/// `per_a` I + `per_a2` I^2.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Law {
    /// The magnet alone.
    pub magnet: f64,
    /// Magnet and coil together, per ampere; negative with one of them the wrong way round.
    pub per_a: f64,
    /// The coil alone, per ampere squared.
    pub per_a2: f64,
    /// Pull at which lifted fluid drops, over that at which it lifts; default 0.6, an estimate.
    pub drop_share: f64,
}

/// What wishes of 0 to 1 span.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Wishes {
    /// The pull from rest to full current.
    Pull,
    /// The pull from just lifted to full current.
    Lifted,
    /// Duty, as without a law.
    Duty,
    /// Down or up, and held there.
    Held {
        /// How much more pull than drops the fluid holds it, percent.
        margin_percent: f64,
        /// The wish from which it is lifted; left out: where the pull from rest to full current in a
        /// straight line lifts it.
        lift_at: Option<f64>,
    },
}

/// How lifted fluid behaves and what wishes ask for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Pulling {
    /// Default [`Wishes::Pull`].
    pub wishes: Wishes,
    /// Current of a full wish, percent of full; default 100.
    pub most_percent: f64,
    /// How long full pull takes to lift it, ms; default 150, an estimate.
    pub rise_ms: f64,
    /// Length of the opposing pulse that lets go, ms; default 100, an estimate.
    pub release_ms: f64,
}

/// When nothing is written. Drops of a few millimetres take 50 to 200 ms to rise: an estimate, to be
/// measured.
const UNSAID: Pulling =
    Pulling { wishes: Wishes::Pull, most_percent: 100.0, rise_ms: 150.0, release_ms: 100.0 };

const WISHES: Menu = Menu {
    words: &["pull", "lifted", "duty"],
    tables: &[("held", "wishes.held = { margin_percent = 10, lift_at = 0.5 }")],
};

pub(super) fn read(root: &mut Section<'_>) -> Option<At<Pulling>> {
    let mut section = root.table("pull")?;
    let span = section.span.clone();
    let wishes = match section.menu("wishes", &WISHES, false).map(|picked| picked.value) {
        Some(Picked::Word("lifted")) => Wishes::Lifted,
        Some(Picked::Word("duty")) => Wishes::Duty,
        Some(Picked::Table(_, mut held)) => {
            let margin_percent = held.number_or(&HOLD_MARGIN, 10.0).value;
            let lift_at = held.number_if(&LIFT_AT).map(|at| at.value);
            held.finish();
            Wishes::Held { margin_percent, lift_at }
        }
        _ => Wishes::Pull,
    };
    let pulling = Pulling {
        wishes,
        most_percent: section.number_or(&MOST, UNSAID.most_percent).value,
        rise_ms: section.number_or(&RISES, UNSAID.rise_ms).value,
        release_ms: section.number_or(&RELEASES, UNSAID.release_ms).value,
    };
    section.finish();
    Some(At { value: pulling, span })
}

pub(super) fn read_law(section: &mut Section<'_>) -> Option<At<Law>> {
    let mut law = section.table("law")?;
    let span = law.span.clone();
    let (magnet, per_a2) = (law.number(&LAW_MAGNET), law.number(&LAW_PER_A2));
    let per_a = law.number(&LAW_PER_A);
    let drop_share = law.number_or(&DROP_SHARE, 0.6).value;
    law.finish();
    let value =
        Law { magnet: magnet?.value, per_a: per_a?.value, per_a2: per_a2?.value, drop_share };
    Some(At { value, span })
}

/// What cannot be driven is refused where the law stands. Laws that are reckoned are judged when a
/// mapping is to drive them, as a file must be read before its magnet can be chosen.
pub(super) fn check(pad: &Pad, display: &Display) {
    if let Some(pull) = &display.pull
        && display.fluid.is_none()
        && display.coil_types.iter().all(|coil_type| coil_type.law.is_none())
    {
        let title = "pull: no coil's pull is known, so that wishes are shares of duty".to_owned();
        let cure = "describe coil, [magnet] and [fluid], or state a `law` for the [[coil_type]]";
        pad.warn(&pull.span, title, cure);
    }
    let law_of = |coil_type: usize| display.coil_types.get(coil_type)?.law.as_ref();
    let two_way = display.driver.two_way();
    let mut told = Vec::new();
    for block in &display.blocks {
        let Some(law) = law_of(block.coil_type).filter(|_| !told.contains(&block.coil_type)) else {
            continue;
        };
        let coils = 0..block.channels.value.len();
        for pull in coils.filter_map(|coil| settings_of(display, block, coil, None)) {
            let path = format!("coil_type \"{}\", law", name_of(display, block));
            let volts = display.rails.get(block.rail).map_or(0.0, |rail| rail.volts);
            if let Err(fault) = pull_fault(&pull, two_way, Volts(volts)) {
                let title = format!("{path}: {} is {:.3}", fault.what, fault.value);
                pad.refuse(&law.span, title, fault.cure);
                told.push(block.coil_type);
                break;
            }
        }
    }
}

/// Coils whose fluid a one-way driver never lets go of, whatever wishes span.
pub(super) fn hanging(display: &Display, settings: &BudgetSettings) -> Option<Finding> {
    let hangs = |pull: &Pull| match pull {
        Pull::Law(pull) => pull.law.q0 > pull.drop_share,
        Pull::Straight => false,
    };
    let coils = settings.coils.iter().filter(|coil| hangs(&coil.pull)).count();
    (coils > 0 && !display.driver.two_way()).then(|| {
        let title = format!(
            "display \"{}\": the magnet alone holds lifted fluid at {}",
            display.name,
            counted(coils, "coil")
        );
        Finding::placeless(Weight::Warning, title)
            .help("it stays up with the current off: move the magnet back, or drive both ways")
    })
}

fn name_of<'a>(display: &'a Display, block: &Block) -> &'a str {
    display.coil_types.get(block.coil_type).map_or("", |coil_type| coil_type.name.value.as_str())
}

/// Lays what is known of each coil's pull over a display's settings, for wishes of a mapping.
pub(super) fn lay(display: &Display, settings: &mut BudgetSettings) {
    if display.pull.as_ref().is_some_and(|pull| pull.value.wishes == Wishes::Duty) {
        return;
    }
    let stated = |block: &Block| {
        let coil_type = display.coil_types.get(block.coil_type);
        coil_type.is_some_and(|coil_type| coil_type.law.is_some())
    };
    let known = match display.blocks.iter().all(stated) {
        true => vec![],
        false => display.pulls(),
    };
    let places = display
        .blocks
        .iter()
        .flat_map(|block| (0..block.channels.value.len()).map(move |coil| (block, coil)));
    for (index, (coil, (block, place))) in settings.coils.iter_mut().zip(places).enumerate() {
        let known = known.get(index).copied().flatten();
        let pull = settings_of(display, block, place, known);
        coil.pull = pull.map_or(Pull::Straight, Pull::Law);
    }
}

/// The settings of one coil of a block, by the law stated for its kind or else by the one that is
/// known; nothing where there is none, or none is wanted.
fn settings_of(
    display: &Display,
    block: &Block,
    coil: usize,
    known: Option<KnownPull>,
) -> Option<PullSettings> {
    let pulling = display.pull.as_ref().map_or(UNSAID, |pull| pull.value);
    let coil_type = display.coil_types.get(block.coil_type)?;
    let drive = drive_of(display, block, coil_type)?;
    let full = (drive.supply.0 - drive.switch_drop.0) / drive.resistance.0;
    let known = match &coil_type.law {
        Some(law) => by_law(&law.value, full, seen(display, block, coil, full)),
        None => known?,
    };
    let mut settings = PullSettings {
        law: known.law,
        full: known.full,
        // The switch takes its part of what the law may call full.
        most_u: (pulling.most_percent / 100.0 * full / known.full.0).min(1.0),
        drop_share: known.drop_share,
        switch_drop: drive.switch_drop,
        freewheel_drop: drive.freewheel_drop,
        rise: Seconds(pulling.rise_ms / 1e3),
        release: Seconds(pulling.release_ms / 1e3),
        range: PullRange::FromRest,
    };
    settings.range = match pulling.wishes {
        Wishes::Duty => return None,
        Wishes::Pull => PullRange::FromRest,
        Wishes::Lifted => PullRange::FromLift,
        Wishes::Held { margin_percent, lift_at } => {
            let lifts = settings.lift_wish(display.driver.two_way());
            let at = lift_at.unwrap_or(lifts.clamp(LEAST_LIFT_AT, 1.0));
            PullRange::Held { margin: margin_percent / 100.0, at }
        }
    };
    Some(settings)
}

/// A stated law, for what the rail drives through a coil, in line with what was seen of it.
fn by_law(law: &Law, full: f64, seen: Option<(f64, Option<f64>)>) -> KnownPull {
    let stated = PullLaw { q0: law.magnet, c1: law.per_a * full, c2: law.per_a2 * full * full };
    let watched = seen.and_then(|(lift_u, drop_u)| stated.watched(lift_u, drop_u));
    let (law, drop_share) = watched
        .map_or((stated, law.drop_share), |watched| watched.corrects(&stated, law.drop_share));
    KnownPull { law, full: Amps(full), drop_share, seen: watched.is_some() }
}

/// Mean currents, as shares of `full_a`, at which the fluid of a block's coil was seen to lift, and to
/// drop; what the driver sends at the duties written, with a winding at room temperature.
pub(super) fn seen(
    display: &Display,
    block: &Block,
    coil: usize,
    full_a: f64,
) -> Option<(f64, Option<f64>)> {
    let drive = drive_of(display, block, display.coil_types.get(block.coil_type)?)?;
    let lifts = block.lifts.as_ref()?;
    let at = |duties| {
        let duty = Lifts::seen(duties).nth(coil).flatten()?;
        Some(drive.steady(duty).mean.0 / full_a)
    };
    Some((at(&lifts.lift_duty)?, at(&lifts.drop_duty)))
}

/// With a strong magnet the smallest wish would lift; noise should not. Our choice, no source.
const LEAST_LIFT_AT: f64 = 0.05;

/// What drives a coil of a block, with its winding at room temperature.
fn drive_of(display: &Display, block: &Block, coil_type: &CoilType) -> Option<Drive> {
    let (ohms, at) = (Ohms(coil_type.resistance_ohm), Celsius(coil_type.reference_c));
    Some(Drive {
        supply: Volts(display.rails.get(block.rail)?.volts),
        switch_drop: Volts(display.driver.switch_drop_v),
        freewheel_drop: Volts(display.driver.diode_drop_v),
        resistance: resistance_at(ohms, at, Celsius(display.room_c.value)),
        x: coil_type.period_over_tau(display.driver.pwm_hz.as_ref().map(|pwm| pwm.value)),
    })
}

#[cfg(test)]
#[allow(
    clippy::float_cmp,
    clippy::panic,
    reason = "exact by construction; stops at the first surprise"
)]
mod tests {
    use super::*;
    use crate::budget::Start;
    use crate::preset::{prepare_display, prepare_pulls};

    const TANK: &str = r#"
schema = 1
name = "two kinds (invented)"
room_c = 30
[driver]
pwm_hz = 22000
steps = 1000
polarity = "sign_magnitude"
switch_drop_v = 0.25
diode_drop_v = 0.5
[pull]
wishes.held = { margin_percent = 15, lift_at = 0.4 }
most_percent = 80
rise_ms = 120
release_ms = 90
[[rail]]
name = "main"
volts = 12
limit_a = 9
[[coil_type]]
name = "known"
resistance_ohm = 10
coil_j_per_k = 4
backing_j_per_k = 25
coil_to_backing_k_per_w = 2.5
backing_to_around_k_per_w = 15
law = { magnet = 0.5, per_a = 1.26, per_a2 = 0.54, drop_share = 0.7 }
[[coil_type]]
name = "unknown"
resistance_ohm = 10
coil_j_per_k = 4
backing_j_per_k = 25
coil_to_backing_k_per_w = 2.5
backing_to_around_k_per_w = 15
[[coils]]
group = "a"
type = "known"
rail = "main"
first_channel = 0
lift_duty = [0, 0.5]
place.line = { count = 2, from_mm = [0, 0], to_mm = [0, 90] }
[[coils]]
group = "b"
type = "unknown"
rail = "main"
first_channel = 2
place.at = { mm = [[90, 0]] }
"#;

    #[test]
    fn what_is_written_arrives_where_it_is_used() {
        let display = crate::preset::display::read("tank", TANK).unwrap_or_else(|e| panic!("{e}"));
        let rate = crate::units::Rate::new(200, 1).unwrap_or_else(|| unreachable!("200/1"));
        let settings = prepare_pulls(&display, rate, Start::Cold);
        let [first, second, third] = settings.coils.as_slice() else { panic!("three coils") };
        let (Pull::Law(pull), Pull::Law(seen)) = (first.pull, second.pull) else { panic!("laws") };
        assert_eq!(third.pull, Pull::Straight, "no law, no pull");
        // 10 ohm at 20 C are 10.3929 at 30 C by the resistance-rise method; 11.75 V are across it.
        let full = 11.75 / (10.0 * 264.5 / 254.5);
        assert!((pull.full.0 - full).abs() < 1e-12);
        let law = pull.law;
        assert!(
            (law.c1 - 1.26 * full).abs() < 1e-12 && (law.c2 - 0.54 * full * full).abs() < 1e-12
        );
        assert_eq!(
            (law.q0, pull.most_u, pull.drop_share, pull.rise.0, pull.release.0),
            (0.5, 0.8, 0.7, 0.12, 0.09)
        );
        assert_eq!((pull.switch_drop.0, pull.freewheel_drop.0), (0.25, 0.5));
        assert_eq!(pull.range, PullRange::Held { margin: 0.15, at: 0.4 });
        // Seen to lift at duty 0.5 of slow PWM, which is half of full current.
        assert!((seen.law.pull(0.5) - 1.0).abs() < 1e-12, "{seen:?}");
        let (straight, _) = prepare_display(&display, rate, Start::Cold);
        assert!(straight.coils.iter().all(|coil| coil.pull == Pull::Straight), "duties are duties");
        let duty = TANK
            .replace("wishes.held = { margin_percent = 15, lift_at = 0.4 }", "wishes = \"duty\"");
        let display = crate::preset::display::read("tank", &duty).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(prepare_pulls(&display, rate, Start::Cold), straight);
    }
}
