//! What a walk found, at its end.

use coilscore::shown::Shown as _;
use std::fmt::Write;

use coilscore::budget::Start;
use coilscore::coil::copper::temperature_at;
use coilscore::preset::write::SeenLifts;
use coilscore::preset::{CoilName, Display, Names, prepare_display};
use coilscore::run::rewrite::today;
use coilscore::run::walk::{
    FAR, LiftRound, Mark, Measured, Tour, Verdict, median, off_median, save,
};

use coilscore::units::{Celsius, Ohms};

use super::words::wire_words;
use super::{Args, Walked};
use crate::cli::{Failure, Outcome, heat, print};

/// Prints it, and writes what belongs into the display file unless the run was dry.
pub(super) fn tell(
    args: &Args,
    display: &Display,
    walked: &Walked,
    warmth: Option<&heat::Warmth>,
) -> Outcome {
    let (_, names) = prepare_display(display, args.rate, Start::Unknown);
    match walked {
        Walked::Tour(tour) => print(&toured(tour, &names)),
        Walked::Measure(measured) => print(&measures(measured, &names)),
        Walked::Log(logged) => print(&log_words(args, logged)),
        Walked::Lift(round) => {
            print(&lifts(round, &names))?;
            match warmth {
                Some(warmth) => write(args, display, round, warmth),
                None => Ok(()),
            }
        }
    }
}

fn log_words(args: &Args, logged: &super::log::Logged) -> String {
    let (log, readings) = (logged.path.shown(), logged.readings);
    let mut text = format!("\n{log}: {readings} readings of the winding\n");
    if logged.whole {
        let (display, coil) = (args.display.shown(), logged.coil);
        let _ = writeln!(
            text,
            "the coil is still warm: hands off. What the log says: coilscore fit {log} --display \
             {display} --coil {coil} --picture {log}.png"
        );
    } else {
        text += "the test was not done to its end: `fit` will say whether this is enough\n";
    }
    text
}

fn toured(tour: &Tour, names: &Names) -> String {
    let mut text = format!("\nwalked {} of {} coils\n", tour.seen(), names.coils.len());
    let marked = tour.marks().iter().zip(&names.coils).enumerate();
    let marked: Vec<_> =
        marked.filter_map(|(at, (mark, name))| Some((at, (*mark)?, name))).collect();
    for (_, mark, name) in &marked {
        let (what, cure) = match mark {
            Mark::Dead => {
                ("dead", "look for a broken wire, a loose contact, a blown fuse".to_owned())
            }
            Mark::Shorted => {
                ("shorted", "do not drive it; measure it with the power off".to_owned())
            }
            Mark::Swapped(number) => ("swapped", moved(name, *number, names)),
        };
        let _ = writeln!(text, "{:<12} {what:<8} {}: {cure}", name.label, wire_words(name));
    }
    if let Some((a, b)) = pair(&marked) {
        let _ = writeln!(
            text,
            "{} and {} are exchanged: plug them over, or write channel {} for {} and {} for {}",
            a.label, b.label, b.channel, a.label, a.channel, b.label
        );
    }
    if marked.is_empty() {
        text += "nothing was marked\n";
    }
    text
}

fn moved(name: &CoilName, number: Option<u32>, names: &Names) -> String {
    let group = names.groups.get(name.group).map_or("", String::as_str);
    match number {
        Some(number) => format!("this channel moves {group} {number}"),
        None => "this channel moves another coil".to_owned(),
    }
}

/// The only two coils that are swapped, if they can be each other's.
fn pair<'a>(marked: &[(usize, Mark, &'a CoilName)]) -> Option<(&'a CoilName, &'a CoilName)> {
    let swapped: Vec<_> = marked
        .iter()
        .filter_map(|(_, mark, name)| match mark {
            Mark::Swapped(number) => Some((*number, *name)),
            _ => None,
        })
        .collect();
    let [(first, a), (second, b)] = *swapped.as_slice() else { return None };
    let is = |number: Option<u32>, name: &CoilName| {
        number.is_none_or(|number| name.label.ends_with(&format!(" {number}")))
    };
    (a.board == b.board && is(first, b) && is(second, a)).then_some((a, b))
}

fn measures(measured: &[Measured], names: &Names) -> String {
    let mut text = format!("\nmeasured {} of {} coils\n", measured.len(), names.coils.len());
    for (verdict, what) in
        [(Verdict::Open, "open"), (Verdict::Shorted, "shorted"), (Verdict::Drifting, "drifting")]
    {
        let of = measured.iter().filter(|one| one.verdict == verdict);
        let labels: Vec<_> = of.filter_map(|one| names.coils.get(one.coil)).collect();
        let labels: Vec<_> = labels.iter().map(|name| name.label.as_str()).collect();
        if !labels.is_empty() {
            let _ = writeln!(text, "{what:<9} {}", labels.join(", "));
        }
    }
    // The resistance-rise method, turned round: what temperature would copper have?
    let reads = |one: &Measured| {
        let ([cold, _], [cold_c, _]) = (one.expected_ohms, one.coil_c);
        temperature_at(Ohms(cold), Celsius(cold_c), Ohms(one.ohms)).0
    };
    let whole = measured.iter().filter(|one| one.verdict == Verdict::Good);
    let reads: Vec<_> = whole.map(|one| Some(reads(one))).collect();
    if let Some(middle_c) = median(&reads) {
        let _ = writeln!(
            text,
            "by their resistance, and if the display file has it right, the windings are at about \
             {middle_c:.0} C; 10 K are 4 %"
        );
    }
    text
}

fn lifts(round: &LiftRound, names: &Names) -> String {
    let mut text = String::from("\n              lift    drop\n");
    let both = round.lift_duty().iter().zip(round.drop_duty()).zip(&names.coils);
    let digits = |duty: Option<f64>| duty.map_or("-".into(), |duty| format!("{duty:.3}"));
    for ((lift, drop), name) in both.filter(|((lift, _), _)| lift.is_some()) {
        let _ = writeln!(text, "{:<12} {:>6} {:>7}", name.label, digits(*lift), digits(*drop));
    }
    for (what, duties) in [("lift", round.lift_duty()), ("drop", round.drop_duty())] {
        let Some(middle) = median(duties) else { continue };
        let _ = writeln!(text, "median {what} {middle:.3}");
        for (coil, off) in off_median(duties, FAR) {
            let label = names.coils.get(coil).map_or("", |name| name.label.as_str());
            let _ = writeln!(
                text,
                "{label}: {what} {:+.0} % off the median: look at its distance, magnet and fluid",
                off * 100.0
            );
        }
    }
    text
}

fn write(args: &Args, display: &Display, round: &LiftRound, warmth: &heat::Warmth) -> Outcome {
    if round.lift_duty().iter().all(Option::is_none) {
        return print("no coil was seen to lift: the display file is left as it is\n");
    }
    let no_clock = || Failure::Failed("there is no clock to tell the date; nothing written".into());
    let seen = SeenLifts {
        lift_duty: round.lift_duty().to_vec(),
        drop_duty: round.drop_duty().to_vec(),
        on: today().ok_or_else(no_clock)?,
    };
    let written = save(&args.display, display, &seen).map_err(Failure::failed)?;
    // The file means something else now; the heat is the same.
    warmth.renamed(&written);
    print(&format!("written into {}\n", args.display.shown()))
}
