//! `render --explain`: who took what, and what was gained over a fixed clamp.

use std::fmt::Write;

use coilscore::run::plan::{Bound, CoilGained, PlanReport};

/// Coils that are told one by one; the report has them all.
const MOST_ROWS: usize = 64;

/// A line or two for every render.
pub(super) fn in_short(plan: &PlanReport) -> String {
    let Some((low, high)) = range(&plan.gains) else { return String::new() };
    format!(
        "planned gains {low:.2} to {high:.2}; against a fixed clamp: energy x {}, motion x {}, \
         likeness {:.3} for {:.3}; {}\n",
        times(plan.all.energy_j),
        times(plan.all.motion_s),
        plan.all.likeness[0],
        plan.all.likeness[1],
        held_back(&plan.bounds),
    )
}

/// The table, of a run of so many songs.
pub(super) fn in_full(plan: &PlanReport, songs: usize) -> String {
    let mut text = String::from(match plan.gains.is_empty() {
        true => "\nNothing had to be turned down: limiter and supply took no more than moments.\n",
        false => {
            "\nEach coil was turned down by one gain for the whole run: the largest under which it \
             still moves as it was wished\n(likeness 0.99 once the supplies have come up; less where a \
             supply is too slow or too weak for that and\nit would cost a coil more than half of its \
             energy); the rarest peaks are left to limiter and supply.\n"
        }
    });
    text.push_str(
        "Duties are means. Clamp: the duty a coil may have for ever, which is what a fixed limit \
         would hold it to;\nenergy and motion (squares of duty around its mean) are times the \
         clamp's; likeness is the correlation of\nduty with wish, and the clamp's. Bound by: what keeps the coil from \
         more. Heat: where its winding came nearest\nits bound; supply: where that took most from \
         it.\n\n",
    );
    let widest = plan.names.iter().map(|name| name.chars().count()).max().unwrap_or(4).max(4);
    // Writing to a string does not fail.
    let _ = writeln!(
        text,
        "{:widest$}  gain  wished  granted  by plan  by limiter  by rail  by driver  clamp  energy  motion  likeness       bound by",
        "coil"
    );
    let rows = plan.names.iter().zip(&plan.duty).zip(plan.coils.iter().zip(&plan.bounds));
    for (coil, ((name, duty), (gained, bound))) in rows.enumerate().take(MOST_ROWS) {
        let gain = plan.gains.get(coil).copied().unwrap_or(1.0);
        let bound = bound_words(bound, &plan.rails, songs);
        let _ = writeln!(text, "{name:widest$}  {gain:4.2}  {}  {bound}", row(duty, gained));
    }
    let more = plan.coils.len().saturating_sub(MOST_ROWS);
    if more > 0 {
        let _ = writeln!(text, "and {more} more coils: --report has them all");
    }
    let all = &plan.all;
    let _ = writeln!(
        text,
        "all: {:.0} J for {:.0} J of the clamp ({} times), motion {} times, likeness {:.4} for {:.4}",
        all.energy_j[0],
        all.energy_j[1],
        times(all.energy_j),
        times(all.motion_s),
        all.likeness[0],
        all.likeness[1],
    );
    text
}

/// How many coils are kept from more, and by what.
fn held_back(bounds: &[Bound]) -> String {
    let count = |is: &dyn Fn(&Bound) -> bool| bounds.iter().filter(|bound| is(bound)).count();
    let heat = count(&|bound| matches!(bound, Bound::Heat { .. }));
    let supply = count(&|bound| matches!(bound, Bound::Rail { .. }));
    format!(
        "coils bound by heat {heat}, by supply {supply}, by nothing {}",
        bounds.len() - heat - supply
    )
}

fn bound_words(bound: &Bound, rails: &[String], songs: usize) -> String {
    let at = |song: usize, at_s: f64| {
        let of = if songs > 1 { format!(" of song {}", song + 1) } else { String::new() };
        format!("at {at_s:.1} s{of}")
    };
    match *bound {
        Bound::Nothing => "nothing".into(),
        Bound::Heat { song, at_s, now_c, bound_c } => {
            format!("heat, {now_c:.1} of {bound_c:.1} C {}", at(song, at_s))
        }
        Bound::Rail { rail, song, at_s } => {
            let name = rails.get(rail).map_or("", |name| name);
            format!("supply {name} {}", at(song, at_s))
        }
    }
}

fn row([wished, granted, plan, limiter, rail, driver]: &[f64; 6], gained: &CoilGained) -> String {
    format!(
        "{wished:6.3}  {granted:7.3}  {plan:7.3}  {limiter:10.3}  {rail:7.3}  {driver:9.3}  {:5.3}  \
         {:>6}  {:>6}  {:.3} ({:.3})",
        gained.clamp,
        times(gained.energy_j),
        times(gained.motion_s),
        gained.likeness[0],
        gained.likeness[1],
    )
}

/// How many times as much; a dash where there is nothing to compare with.
fn times([granted, clamped]: [f64; 2]) -> String {
    if clamped > 0.0 { format!("{:.2}", granted / clamped) } else { "-".into() }
}

fn range(gains: &[f64]) -> Option<(f64, f64)> {
    let low = gains.iter().copied().reduce(f64::min)?;
    let high = gains.iter().copied().reduce(f64::max)?;
    Some((low, high))
}
