//! `coilscore budget`: what the hardware allows, and any request put through the limiter.

use std::fmt::Write as _;
use std::path::PathBuf;

use coilscore::budget::{
    Binds, Budget, BudgetSettings, CoilBudget, CoilReport, InTheEnd, Node, Report, Start,
    pull_reports, report,
};
use coilscore::preset::{Names, prepare_display, prepare_pulls};
use coilscore::units::Rate;

use super::{Failure, Outcome, inputs, print, pulls, request};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Display: coils, driver, supply, heat (TOML)
    #[arg(long, value_name = "FILE")]
    display: PathBuf,
    /// Print the figures as JSON
    #[arg(long, conflicts_with = "requests")]
    json: bool,
    /// Put a request through the limiter: a table with the time in s, then one duty per coil
    #[arg(long = "try", value_name = "REQUESTS.csv")]
    requests: Option<PathBuf>,
    /// Where the answer to --try goes: granted duties, temperatures, rail currents; left out:
    /// standard output
    #[arg(long, value_name = "FILE.csv", requires = "requests")]
    out: Option<PathBuf>,
    /// Heat at the first row of --try: cold, warm, unknown, or a duty file
    #[arg(long, default_value = "cold", value_name = "START", requires = "requests")]
    start: String,
    /// Frames per second of --try
    #[arg(long, default_value = "200", value_parser = inputs::rate)]
    rate: Rate,
}

const CAUTIONS: &str = "\
Cautions
  Heat     These figures are a model's. Iron and coils that are granted full duty burn skin and
           soften glue and plastic long before anything smokes: measure with your own sensor, and
           never leave a display alone until its real temperatures are known.
  Magnets  Permanent magnets pinch, shatter, and upset pacemakers and other implants, cards and
           instruments. Above its grade's temperature a magnet is weakened for good.
  Mains    Mains wiring, fuses and earthing of supplies and metal tanks are work for licensed
           people under your local codes. Fuse every rail and every connector for its wire.
  Liquid   Keep tanks and bottles away from and below anything live; use a residual-current device.
";

/// Reports or answers.
pub(super) fn run(args: &Args) -> Outcome {
    if let Some(requests) = &args.requests {
        request::keep_apart(&args.display, requests, &args.start, args.out.as_deref())?;
    }
    let display = inputs::read_display(&args.display, args.json)?;
    let start = inputs::start(&args.start, &display)?;
    let (settings, names) = prepare_display(&display, args.rate, start);
    if let Some(requests) = &args.requests {
        return request::answer(requests, args.out.as_deref(), &settings);
    }
    let report = report(&settings).map_err(Failure::refused)?;
    let pulls = prepare_pulls(&display, args.rate, Start::Cold);
    if args.json {
        return print_json(&report, &names, &settings, &pulls);
    }
    let mut text = format!("{}, room {:.0} C\n\n", names.display, settings.room.0);
    coil_table(&mut text, &report, &names, &settings);
    rail_table(&mut text, &report);
    text.push_str(&pulls::table(&pulls, &names, &report));
    text.push_str(&what_binds(&report, &names, &settings));
    text.push('\n');
    text.push_str(CAUTIONS);
    print(&text)
}

/// `settings` are those of duties; `pulls` those of wishes, with the laws of pull.
fn print_json(
    report: &Report,
    names: &Names,
    settings: &BudgetSettings,
    pulls: &BudgetSettings,
) -> Outcome {
    let mut json = serde_json::to_value(report).map_err(Failure::failed)?;
    let budget = Budget::new(pulls).map_err(Failure::refused)?;
    let laws = pull_reports(pulls);
    let bounds_c = |node: usize| budget.bound_c().get(node).copied();
    let coils = json.get_mut("coils").and_then(|coils| coils.as_array_mut());
    let named = coils.into_iter().flatten().zip(&names.coils).zip(&pulls.coils);
    for (index, ((coil, name), settings)) in named.enumerate() {
        if let Some(fields) = coil.as_object_mut() {
            fields.insert("name".into(), name.label.clone().into());
            fields.insert("coil_limit_c".into(), settings.heat.coil_limit.0.into());
            fields.insert("coil_bound_c".into(), bounds_c(index).into());
            fields.insert("backing_limit_c".into(), settings.heat.backing_limit.0.into());
            fields.insert("backing_bound_c".into(), bounds_c(index + names.coils.len()).into());
            fields.insert("margin".into(), settings.margin.into());
            fields.insert("power_factor".into(), settings.power_scale.into());
            if let Some(pull) = laws.get(index).copied().flatten() {
                let pull = serde_json::to_value(pull).map_err(Failure::failed)?;
                fields.insert("pull".into(), pull);
            }
        }
    }
    if let Some(fields) = json.as_object_mut() {
        fields.insert("display".into(), names.display.clone().into());
        fields.insert("room_c".into(), settings.room.0.into());
        fields.insert("notes".into(), too_short(report, names, settings).into());
        let cautions = CAUTIONS.lines().skip(1).map(str::trim).collect::<Vec<_>>().join(" ");
        fields.insert("cautions".into(), cautions.into());
    }
    print(&format!("{json:#}\n"))
}

const HEADINGS: &str = "                             full      for ever, duty       full drive   all at full wish: duty, winding C
coil           number       W     A   all    slow  alone   from cold s   after 10 min    after 4 h    part   limits C  bound by";

fn coil_table(text: &mut String, report: &Report, names: &Names, settings: &BudgetSettings) {
    let _ = writeln!(text, "{HEADINGS}");
    let both = report.coils.iter().zip(&settings.coils);
    let lines = both.map(|(coil, settings)| coil_line(coil, settings));
    let mut rows: Vec<(String, usize, usize)> = Vec::new();
    for (coil, line) in lines.enumerate() {
        match rows.last_mut() {
            Some((known, _, last)) if *known == line && same_group(names, *last, coil) => {
                *last = coil;
            }
            _ => rows.push((line, coil, coil)),
        }
    }
    for (line, first, last) in rows {
        let numbers = if first == last { first.to_string() } else { format!("{first}-{last}") };
        let _ = writeln!(text, "{:<14} {numbers:<8}{line}", span_name(names, first, last));
    }
    text.push_str(
        "all: every coil asks for everything; slow: the same if PWM were slow against L/R; \
         alone: only this coil\n\
         full drive from cold: all coils together, the supply set aside; limits: winding/backing\n\
         part: its part of what its rail would give; coils are counted from 1 in their group, and \
         from 0 in the display\n",
    );
}

fn same_group(names: &Names, a: usize, b: usize) -> bool {
    let group = |coil: usize| names.coils.get(coil).map(|name| name.group);
    group(a) == group(b)
}

/// `ring 1` or `ring 1-24`.
pub(super) fn span_name(names: &Names, first: usize, last: usize) -> String {
    let label = |coil: usize| names.coils.get(coil).map_or("", |name| name.label.as_str());
    if first == last {
        return label(first).to_owned();
    }
    let number = label(last).rsplit(' ').next().unwrap_or_default();
    format!("{}-{number}", label(first))
}

fn coil_line(coil: &CoilReport, settings: &CoilBudget) -> String {
    let bound_by = match &coil.binds {
        Binds::Nothing => "nothing".into(),
        Binds::Heat(_) => "heat".into(),
        Binds::Driver => "driver".into(),
        Binds::Rail(rail) => format!("rail {rail}"),
    };
    let alone = coil.alone_duty.map_or("-".into(), |duty| format!("{duty:.3}"));
    let full = match coil.full_drive_s {
        Some(seconds) if seconds < 1000.0 => format!("{seconds:.1}"),
        Some(seconds) => format!("{seconds:.0}"),
        None => "no end".into(),
    };
    format!(
        "{:>6.1} {:>5.2} {:>5.3} {:>7.3} {alone:>6} {full:>13} {:>8.3} {:>5.1} {:>7.3} {:>5.1} \
         {:>5.1} %   {:>3.0}/{:<3.0}   {bound_by}",
        coil.full_w,
        coil.full_a,
        coil.continuous_duty,
        coil.continuous_duty_slow,
        coil.duty_10_min,
        coil.coil_10_min_c,
        coil.duty_4_h,
        coil.coil_4_h_c,
        coil.rail_part * 100.0,
        settings.heat.coil_limit.0,
        settings.heat.backing_limit.0,
    )
}

fn rail_table(text: &mut String, report: &Report) {
    let _ = writeln!(text, "\nrail                 all full A   limit A   feeds");
    for rail in &report.rails {
        let _ = writeln!(
            text,
            "{:<20} {:>10.2} {:>9.2} {:>5.0} %",
            rail.name,
            rail.all_full_a,
            rail.limit_a,
            rail.feeds * 100.0
        );
    }
    text.push_str("all full: mean current as the limiter counts it, estimates included\n");
}

fn what_binds(report: &Report, names: &Names, settings: &BudgetSettings) -> String {
    let label = |coil: usize| names.coils.get(coil).map_or("?", |name| name.label.as_str());
    let heat = |coil: usize| settings.coils.get(coil).map(|coil| coil.heat);
    let node = match report.binding {
        Node::Coil(coil) => {
            let limit = heat(coil).map_or(0.0, |heat| heat.coil_limit.0);
            format!("the winding of {} (limit {limit:.0} C)", label(coil))
        }
        Node::Backing(coil) => {
            let limit = heat(coil).map_or(0.0, |heat| heat.backing_limit.0);
            format!("the backing of {} (limit {limit:.0} C)", label(coil))
        }
        Node::Enclosure => {
            let limit = settings.enclosure.and_then(|space| space.limit).map_or(0.0, |c| c.0);
            format!("the enclosure (limit {limit:.0} C)")
        }
    };
    let mut text = format!("\nContinuous power of all coils is bound by {node}.\n");
    for (index, rail) in settings.rails.iter().enumerate() {
        let wired = report.coils.iter().zip(&settings.coils).filter(|(_, c)| c.rail == index);
        let bound = wired.clone().filter(|(coil, _)| matches!(coil.binds, Binds::Rail(_))).count();
        if bound > 0 {
            let _ = writeln!(
                text,
                "With all coils at full wish, rail \"{}\" (limit {} A) binds {bound} of its {} \
                 coils before heat does.",
                rail.name,
                rail.limit.0,
                wired.count()
            );
        }
    }
    let margins = settings.coils.iter().map(|coil| (coil.margin, coil.power_scale));
    if let Some((margin, scale)) = margins.max_by(|a, b| a.0.total_cmp(&b.0)) {
        if margin <= 0.0 && scale <= 1.0 {
            text.push_str("No margins: these figures count as exact, which no measurement is.\n");
        } else {
            let _ = writeln!(
                text,
                "Margins: allowed rises are divided by {:.2} and heat is multiplied by {scale:.2} \
             where figures are estimates.",
                1.0 + margin
            );
        }
    }
    for note in too_short(report, names, settings) {
        let _ = writeln!(text, "{note}");
    }
    text
}

/// One sentence or two for all neighbours in a group that their driver cannot hold in the end.
fn too_short(report: &Report, names: &Names, settings: &BudgetSettings) -> Vec<String> {
    let mut spans: Vec<(usize, usize, &CoilReport)> = Vec::new();
    let alike = |a: &CoilReport, b: &CoilReport| {
        let bits = |coil: &CoilReport| [coil.continuous_duty, coil.least_duty].map(f64::to_bits);
        bits(a) == bits(b) && a.in_the_end == b.in_the_end
    };
    let shorts = report.coils.iter().enumerate();
    for (index, coil) in shorts.filter(|(_, coil)| coil.in_the_end != InTheEnd::Holds) {
        match spans.last_mut() {
            Some((_, last, known))
                if *last + 1 == index && same_group(names, *last, index) && alike(known, coil) =>
            {
                *last = index;
            }
            _ => spans.push((index, index, coil)),
        }
    }
    let note = |(first, last, coil): (usize, usize, &CoilReport)| {
        let step = settings.coils.get(first).map_or(0.0, |set| f64::from(set.steps).recip());
        let (what, cure) = if coil.least_duty > step * 1.5 {
            ("its shortest pulse", "a smaller `min_on_us`, a lower `pwm_hz`")
        } else {
            ("one step", "a driver with more `steps`")
        };
        let then = match coil.in_the_end {
            InTheEnd::Off => "the coil goes off once it is warm, and stays off",
            _ => "the limiter turns the coil off and on, again and again, once it is warm",
        };
        format!(
            "{}: heat grants a duty of {:.5} for ever, and the least that the driver makes is {:.5} \
             ({what}). At full wish {then}. What helps: {cure}, more resistance, better cooling.",
            span_name(names, first, last),
            coil.continuous_duty,
            coil.least_duty,
        )
    };
    spans.into_iter().map(note).collect()
}
