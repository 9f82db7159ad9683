//! What the pull of coils on the fluid comes to, for `budget` and `check`.

use std::fmt::Write as _;

use coilscore::budget::{BudgetSettings, PullReport, Report, pull_reports};
use coilscore::preset::Names;

/// Coils that come to the same, from the first to the last.
struct Run {
    first: usize,
    last: usize,
    report: PullReport,
}

fn runs(settings: &BudgetSettings, names: &Names) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let group = |coil: usize| names.coils.get(coil).map(|name| name.group);
    for (coil, report) in pull_reports(settings).into_iter().enumerate() {
        let Some(report) = report else { continue };
        match runs.last_mut() {
            Some(run)
                if run.report == report
                    && run.last + 1 == coil
                    && group(run.last) == group(coil) =>
            {
                run.last = coil;
            }
            _ => runs.push(Run { first: coil, last: coil, report }),
        }
    }
    runs
}

const HEADINGS: &str = "\n                         pull over weight   wish    duty that                 heat of holding, of that at the
coil           number     rest    full   lifts   lifts   drops   holds   lifting duty (without margin)   for ever";

/// A table of lifting, dropping and holding; nothing for a display without laws.
pub(super) fn table(settings: &BudgetSettings, names: &Names, report: &Report) -> String {
    let runs = runs(settings, names);
    let mut text = String::new();
    if runs.is_empty() {
        return text;
    }
    let _ = writeln!(text, "{HEADINGS}");
    for run in &runs {
        let told = &run.report;
        let number = |value: Option<f64>| value.map_or("-".into(), |value| format!("{value:.3}"));
        let numbers = match run.first == run.last {
            true => run.first.to_string(),
            false => format!("{}-{}", run.first, run.last),
        };
        let held = match (told.hold_heat_of_lift, told.drop_heat_of_lift) {
            (Some(held), Some(drop)) => format!("{held:.3} ({drop:.3})"),
            (None, Some(drop)) => format!("- ({drop:.3})"),
            _ => "-".into(),
        };
        let for_ever = report.coils.get(run.first).zip(told.hold_duty);
        let for_ever = for_ever
            .map_or("-", |(coil, hold)| if hold <= coil.continuous_duty { "yes" } else { "no" });
        let _ = writeln!(
            text,
            "{:<14} {numbers:<8} {:>6.3} {:>7.3} {:>7} {:>7} {:>7} {:>7}   {held:>28}   {for_ever:>8}",
            super::budget::span_name(names, run.first, run.last),
            told.rest_pull,
            told.most_pull,
            number(told.lift_wish),
            number(told.lift_duty),
            number(told.drop_duty),
            number(told.hold_duty),
        );
    }
    text.push_str(
        "wish: from a mapping; duties with windings at room temperature, negative against the magnet; \
         for ever: all coils holding\n",
    );
    text
}

/// One line for each run of coils.
pub(super) fn lines(settings: &BudgetSettings, names: &Names) -> String {
    let mut text = String::new();
    for run in runs(settings, names) {
        let told = &run.report;
        let name = super::budget::span_name(names, run.first, run.last);
        let _ = write!(text, "pull     {name}: ");
        let _ = match (told.lift_wish, told.lift_duty) {
            _ if told.rest_pull >= 1.0 => write!(
                text,
                "{:.2} of the lifting pull at rest: the magnet lifts it by itself, move it back",
                told.rest_pull
            ),
            (Some(wish), Some(duty)) => write!(
                text,
                "{:.2} of the lifting pull at rest, lifts from a wish of {wish:.2} on (duty {duty:.3}), {}",
                told.rest_pull,
                told.drop_duty
                    .map_or("never drops".into(), |drop| format!("drops below duty {drop:.3}"))
            ),
            _ => write!(
                text,
                "{:.2} of the lifting pull at rest, {:.2} at a full wish: it never lifts",
                told.rest_pull, told.most_pull
            ),
        };
        if let (Some(hold), Some(heat)) = (told.hold_duty, told.hold_heat_of_lift) {
            let _ = write!(
                text,
                "; held at duty {hold:.3} with {:.0} % of the heat of the lifting duty",
                heat * 100.0
            );
        }
        text.push('\n');
    }
    text
}
