//! The fit for people: text, picture words, JSON.

use std::fmt::Write;

use coilscore::budget::{Start, report};
use coilscore::coil::copper::resistance_at;
use coilscore::fit::Value;
use coilscore::picture::FitWords;
use coilscore::preset::display::{Trust, read};
use coilscore::preset::prepare_display;
use coilscore::units::{Celsius, Ohms, Rate};

use super::super::Failure;
use super::Tested;

/// Cautions at the place where someone heats a coil on purpose.
pub(super) const CAUTIONS: &str = "\
Cautions
  Heat     A heating test makes a coil hot on purpose. Begin with little power, stay beside it, keep
           a thermometer on magnet, glue and tank and stop at their limits, whatever the log still
           needs. Winding and iron stay hot for minutes after switching off.
  Others   One coil was tested. Another of its kind may be glued worse: test the one that looks
           worst, and again after rebuilding, in the case and the room it will be used in.
  Supply   Fuse the lead, and set the supply's current limit just above what the test needs.
";

/// Duty for ever, as the display says now and as fitted.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Duties {
    /// With all coils at full wish.
    together: [f64; 2],
    /// With this one alone; none in very large displays.
    alone: [Option<f64>; 2],
}

/// Puts both texts through the budget.
pub(super) fn duties(tested: &Tested<'_>, name: &str, new_text: &str) -> Result<Duties, Failure> {
    let new = read(name, new_text).map_err(Failure::refused)?;
    let Some(rate) = Rate::new(200, 1) else { return Ok(Duties::default()) };
    let mut first = 0;
    for block in &tested.display.blocks {
        if block.coil_type == tested.index {
            break;
        }
        first += block.channels.value.len();
    }
    let mut duties = Duties::default();
    let slots = duties.together.iter_mut().zip(&mut duties.alone);
    for ((together, alone), display) in slots.zip([tested.display, &new]) {
        let (settings, _) = prepare_display(display, rate, Start::Cold);
        let report = report(&settings).map_err(Failure::refused)?;
        if let Some(coil) = report.coils.get(first) {
            (*together, *alone) = (coil.continuous_duty, coil.alone_duty);
        }
    }
    Ok(duties)
}

/// Name, fitted, standing in the display.
fn rows(tested: &Tested<'_>) -> Vec<(&'static str, Value, f64)> {
    let (fitted, kind) = (&tested.fitted, tested.kind);
    let reference = Celsius(kind.reference_c);
    let cold = resistance_at(Ohms(kind.resistance_ohm), reference, Celsius(fitted.cold_c));
    vec![
        ("winding and board, J/K", fitted.coil_j_per_k, kind.coil_j_per_k),
        ("winding to backing, K/W", fitted.coil_to_backing_k_per_w, kind.coil_to_backing_k_per_w),
        ("backing, J/K", fitted.backing_j_per_k, kind.backing_j_per_k),
        (
            "backing to around, K/W",
            fitted.backing_to_around_k_per_w,
            kind.backing_to_around_k_per_w,
        ),
        ("cold resistance, ohm", fitted.cold_ohm, cold.0),
    ]
}

/// Four digits that count.
fn digits(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 1000.0 => 0,
        size if size >= 100.0 => 1,
        size if size >= 10.0 => 2,
        size if size >= 1.0 => 3,
        _ => 4,
    };
    format!("{value:.decimals$}")
}

fn trust_words(trust: Trust) -> String {
    match trust {
        Trust::Estimate => "estimate (25 % margin, 16 % power)".into(),
        Trust::Fit { margin_percent, power_percent } => {
            format!("fit ({margin_percent} % margin, {power_percent} % power)")
        }
    }
}

/// What cannot be read off the winding alone.
fn assumed(tested: &Tested<'_>) -> String {
    match tested.kind.coil_to_around_k_per_w {
        Some(path) => format!(
            "Assumed, as in the display: {path} K/W from winding straight to the surroundings. The \
             winding's own log cannot tell that path from the one over the backing."
        ),
        None => {
            "Assumed: no heat leaves the winding except over the backing. The winding's own log \
                 cannot tell such a path from the one over the backing."
                .into()
        }
    }
}

fn sentences(tested: &Tested<'_>, duties: Duties) -> Vec<String> {
    let fitted = &tested.fitted;
    let [fast_s, slow_s] = fitted.time_constants_s;
    let margin = fitted.margin;
    let mut sentences = vec![
        format!("Time constants: {} s and {} s.", digits(fast_s), digits(slow_s)),
        format!(
            "Residuals: {:.2} K rms; likeness of neighbours {:.2}, errors widened {:.2} times; {} \
             readings far off set aside.",
            fitted.residual_k, fitted.correlation, fitted.widened, fitted.set_aside
        ),
        format!(
            "Trust: margin {} % (scatter {:.1} %, thermometer {:.1} %, at least 2 %), power {} % \
             (voltages); so far: {}.",
            margin.margin_percent,
            margin.scatter_percent,
            margin.cold_percent,
            margin.power_percent,
            trust_words(tested.kind.trust)
        ),
        duty_words(duties),
        assumed(tested),
    ];
    sentences.extend(too_hot(tested));
    sentences
}

/// A test that went past what the display allows.
fn too_hot(tested: &Tested<'_>) -> Option<String> {
    let (fitted, kind) = (&tested.fitted, tested.kind);
    let limits = [
        ("winding", fitted.highest_c, kind.coil_limit_c.value),
        ("backing", fitted.highest_backing_c, tested.display.backing_limit_c(kind)),
    ];
    let passed = limits.into_iter().filter(|(_, highest_c, limit_c)| highest_c > limit_c);
    let passed: Vec<String> = passed
        .map(|(part, highest_c, limit_c)| {
            format!("the {part} to {highest_c:.0} C, over its limit of {limit_c:.0} C")
        })
        .collect();
    (!passed.is_empty()).then(|| {
        format!(
            "CAUTION: by the fit, this test heated {}. Look at magnet, glue and board before you go \
             on, and give less power next time.",
            passed.join(", and ")
        )
    })
}

fn duty_words(duties: Duties) -> String {
    let [now, then] = duties.together;
    let alone = match duties.alone {
        [Some(now), Some(then)] => format!("; alone: {now:.3} and {then:.3}"),
        _ => String::new(),
    };
    format!(
        "Duty for ever with all coils at full wish: {now:.3} as the display is, {then:.3} as \
         fitted{alone}."
    )
}

fn summary(tested: &Tested<'_>) -> [String; 2] {
    let fitted = &tested.fitted;
    [
        format!(
            "{} readings: {:.0} s of drive with up to {} W, {:.0} s of cooling; winding up to {:.1} C",
            fitted.readings,
            fitted.driven_s,
            digits(fitted.power_w),
            fitted.cooled_s,
            fitted.highest_c
        ),
        format!(
            "temperature from resistance, copper's K = 234.5 C (resistance-rise method of electrical \
             handbooks); cold: {} ohm at {:.1} C",
            digits(fitted.cold_ohm.value),
            fitted.cold_c
        ),
    ]
}

fn title(tested: &Tested<'_>) -> String {
    format!(
        "\"{}\" of {}, fitted to {}",
        tested.kind.name.value,
        tested.display.name,
        tested.log_name()
    )
}

/// Everything as text.
pub(super) fn text(tested: &Tested<'_>, duties: Duties) -> String {
    let mut text = format!("{}\n", title(tested));
    for line in summary(tested) {
        let _ = writeln!(text, "  {line}");
    }
    let _ = writeln!(
        text,
        "\n{:<26} {:>9} {:>10} {:>8} {:>9} {:>8}",
        "", "fit", "std error", "", "display", "change"
    );
    for (name, value, before) in rows(tested) {
        let _ = writeln!(
            text,
            "{name:<26} {:>9} {:>10} {:>6.2} % {:>9} {:>+6.1} %",
            digits(value.value),
            digits(value.error),
            value.percent(),
            digits(before),
            100.0 * (value.value / before - 1.0)
        );
    }
    text.push('\n');
    for sentence in sentences(tested, duties) {
        let _ = writeln!(text, "{sentence}");
    }
    text.push('\n');
    text.push_str(CAUTIONS);
    text
}

/// What the picture says beside the curves.
pub(super) fn words(tested: &Tested<'_>, duties: Duties) -> FitWords {
    let row = |(name, value, before): (&str, Value, f64)| {
        [
            name.to_owned(),
            digits(value.value),
            format!("± {}", digits(value.error)),
            format!("{:.2} %", value.percent()),
            digits(before),
        ]
    };
    FitWords {
        title: title(tested),
        notes: summary(tested).into(),
        head: ["", "fit", "std error", "of it", "display"].map(str::to_owned),
        rows: rows(tested).into_iter().map(row).collect(),
        lines: sentences(tested, duties),
    }
}

/// Everything as JSON.
pub(super) fn json(tested: &Tested<'_>, duties: Duties, written: bool) -> Result<String, Failure> {
    let mut json = serde_json::to_value(&tested.fitted).map_err(Failure::failed)?;
    if let Some(fields) = json.as_object_mut() {
        let before: serde_json::Map<_, _> = rows(tested)
            .into_iter()
            .map(|(name, _, before)| (name.into(), before.into()))
            .collect();
        fields.insert("display".into(), tested.display.name.clone().into());
        fields.insert("coil_type".into(), tested.kind.name.value.clone().into());
        fields.insert("source".into(), tested.log_name().into());
        fields.insert("display_has".into(), before.into());
        let [now, then] = duties.together;
        fields.insert("duty_together_now".into(), now.into());
        fields.insert("duty_together_fitted".into(), then.into());
        let [now, then] = duties.alone;
        fields.insert("duty_alone_now".into(), now.into());
        fields.insert("duty_alone_fitted".into(), then.into());
        fields.insert("written".into(), written.into());
        fields.insert("assumed".into(), assumed(tested).into());
        let cautions = CAUTIONS.lines().skip(1).map(str::trim).collect::<Vec<_>>().join(" ");
        fields.insert("cautions".into(), cautions.into());
    }
    Ok(format!("{json:#}\n"))
}
