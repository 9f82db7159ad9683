//! What `bias` prints: text for people, a table and JSON for programs.

use std::fmt::Write as _;

use coilscore::sheet::lift::{CoilLift, KindLift, Law, LiftSheet};
use coilscore::sheet::wrap;

use super::Failure;

// Of any rate: only names are asked for.
const CAUTIONS: &str = "\
Cautions
  Magnets  Strong magnets jump together, pinch fingers to the bone, shatter, and upset pacemakers,
           other implants, cards and instruments. Move them with wedges and gloves, one at a time,
           power off; keep them from children. Above its limit a magnet is weakened for good.
  Heat     A magnet is as warm as the iron in front of it. These figures are a model's: measure.
  Liquid   Ferrofluid stains for good and swells some plastics; keep liquids from anything live.
           Mains supplies are work for licensed people under your local codes.
";

/// For people.
pub(super) fn text(sheet: &LiftSheet) -> String {
    // Writing to a String cannot fail.
    let mut text = String::new();
    let found = if sheet.found { "found for the bias asked" } else { "as the display states" };
    let _ = writeln!(
        text,
        "{}: magnets {:.2} mm behind the coils' front copper, {found}",
        sheet.display, sheet.behind_mm
    );
    let _ = writeln!(
        text,
        "fluid     {:.0} kg/m3 heavier than its liquid; lifting takes {:.0} N/m3",
        sheet.density_difference_kg_per_m3, sheet.weight_n_per_m3
    );
    for kind in &sheet.kinds {
        kind_text(&mut text, kind);
    }
    coils_text(&mut text, sheet);
    for sentence in &sheet.advice {
        wrap(&mut text, "- ", sentence);
    }
    text.push('\n');
    text.push_str(CAUTIONS);
    text
}

fn kind_text(text: &mut String, kind: &KindLift) {
    let law = &kind.law;
    let _ = writeln!(
        text,
        "\n\"{}\" by itself: {:.3} A at full drive, {:.2} mT of its own at the fluid, {:.2} mT of bias",
        kind.name, kind.full_a, kind.coil_mt, kind.bias_mt
    );
    let _ = writeln!(
        text,
        "bias      {:.3} of the lifting pull; the coil alone at full current {:.3}, both {:.3} \
         ({:.3} with the fluid's saturation)",
        law.q0,
        kind.alone,
        law.q0 + law.c1.abs() + law.c2,
        kind.saturating_pull
    );
    let _ = writeln!(text, "lifts     {}", current(law.lift_u, kind.full_a));
    let _ = writeln!(text, "drops     {}", current(law.drop_u, kind.full_a));
    let _ =
        writeln!(text, "gain      full current pulls {:.2} times what it would without", kind.gain);
    for sentence in &kind.advice {
        wrap(text, "- ", sentence);
    }
    let _ = writeln!(
        text,
        "\n{:<34} {:>6} {:>9} {:>9} {:>8}",
        "if not as thought", "bias", "lifts at", "drops at", "at full"
    );
    for case in &kind.cases {
        let law = &case.law;
        let _ = writeln!(
            text,
            "{:<34} {:>6.3} {:>9} {:>9} {:>8.3}",
            case.what,
            law.q0,
            percent(law.lift_u),
            percent(law.drop_u),
            law.q0 + law.c1.abs() + law.c2
        );
    }
}

/// `10.4 % of full current, 0.093 A`.
fn current(u: Option<f64>, full_a: f64) -> String {
    match u {
        None => "at no current".into(),
        Some(u) => {
            let way = if u < 0.0 { ", the other way" } else { "" };
            let beyond = if u.abs() > 1.0 { ", which is beyond it" } else { "" };
            format!(
                "at {:.1} % of full current, {:.3} A{way}{beyond}",
                100.0 * u,
                (u * full_a).abs()
            )
        }
    }
}

fn percent(u: Option<f64>) -> String {
    u.map_or("-".into(), |u| format!("{:.1} %", 100.0 * u))
}

/// Coils that print the same are one row.
fn coils_text(text: &mut String, sheet: &LiftSheet) {
    let label = |coil: usize| sheet.coils.get(coil).map_or("", |it| it.name.as_str());
    let _ = writeln!(
        text,
        "\n{:<22} {:>7} {:>6} {:>6} {:>9} {:>9} {:>17} {:>7}",
        "among the others", "mT", "bias", "alone", "lifts at", "drops at", "worst neighbour", "all"
    );
    let mut rows: Vec<(String, usize, usize)> = Vec::new();
    for coil in &sheet.coils {
        let line = coil_line(coil);
        match rows.last_mut() {
            Some((known, _, last)) if *known == line => *last = coil.coil,
            _ => rows.push((line, coil.coil, coil.coil)),
        }
    }
    for (line, first, last) in rows {
        let name = if first == last {
            label(first).to_owned()
        } else {
            format!("{} to {}", label(first), label(last))
        };
        let _ = writeln!(text, "{name:<22} {line}");
    }
    text.push_str(
        "mT, bias: of all magnets; alone: bias of the own magnet; worst neighbour: its field against \
         the own\ncoil's; all: pull of all others at full current against the own\n",
    );
    if let (true, Some(mm)) = (sheet.coils.iter().any(|coil| coil.seen), sheet.stated_mm) {
        let _ =
            writeln!(text, "*: in line with the duties at which it was seen to lift, {mm:.2} mm");
    }
}

fn coil_line(coil: &CoilLift) -> String {
    let Law { q0, lift_u, drop_u, .. } = coil.law;
    let seen = if coil.seen { "*" } else { "" };
    let worst = coil.nearest.map_or("-".into(), |(_, percent)| format!("{percent:.2} %"));
    format!(
        "{:>7.2} {:>6.3} {:>6.3} {:>9} {:>9} {:>17} {:>7}{seen}",
        coil.bias_mt,
        q0,
        coil.q0_alone,
        percent(lift_u),
        percent(drop_u),
        worst,
        format!("{:.1} %", coil.others_percent)
    )
}

/// One row for each coil.
pub(super) fn csv(sheet: &LiftSheet) -> String {
    let mut text = "coil,x_mm,y_mm,bias_mt,q0,c1,c2,q0_alone,lift_u,drop_u,drop_share,seen,\
                    worst_neighbour,worst_field_percent,others_pull_percent\n"
        .to_owned();
    let or_empty = |value: Option<f64>| value.map_or(String::new(), |value| format!("{value:.6}"));
    for coil in &sheet.coils {
        let ([x, y], law) = (coil.place_mm, &coil.law);
        let (neighbour, field) = coil.nearest.unzip();
        let _ = writeln!(
            text,
            "{},{x:.3},{y:.3},{:.5},{:.6},{:.6},{:.6},{:.6},{},{},{:.4},{},{},{},{:.4}",
            coil.coil,
            coil.bias_mt,
            law.q0,
            law.c1,
            law.c2,
            coil.q0_alone,
            or_empty(law.lift_u),
            or_empty(law.drop_u),
            coil.drop_share,
            u8::from(coil.seen),
            neighbour.map_or(String::new(), |coil| coil.to_string()),
            or_empty(field),
            coil.others_percent
        );
    }
    text
}

/// Everything.
pub(super) fn json(sheet: &LiftSheet) -> Result<String, Failure> {
    let mut json = serde_json::to_value(sheet).map_err(Failure::failed)?;
    if let Some(fields) = json.as_object_mut() {
        let cautions = CAUTIONS.lines().skip(1).map(str::trim).collect::<Vec<_>>().join(" ");
        fields.insert("cautions".into(), cautions.into());
    }
    Ok(format!("{json:#}\n"))
}
