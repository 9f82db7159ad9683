//! What `coilscore coil` prints: a sheet, a table of a sweep, JSON, CSV, curves.

use std::fmt::Write;

use coilscore::coil::figures::{Figures, Use};
use coilscore::coil::geometry::Shape;
use coilscore::coil::sweep::{Sweep, SweepRow};
use coilscore::picture::curves::{Curve, Curves};
use serde_json::{Value, json as object};

/// What was asked, with what was assumed.
pub(super) struct Asked {
    pub(super) at: Use,
    pub(super) to_room_is_estimate: bool,
}

impl Asked {
    fn to_room(&self) -> String {
        let note = if self.to_room_is_estimate {
            ", an estimate for a bare coil in still air"
        } else {
            ""
        };
        format!("{:.1} K/W to the room{note}", self.at.to_room.0)
    }
}

const CAUTION: &str = "\
Caution: these are a drawing's figures. A coil run for ever at its limit burns skin; build one, measure
its resistance and how warm it gets, and fuse it before you leave it alone.
";

/// The sheet of one coil.
pub(super) fn text(shape: &Shape, sheet: &Figures, asked: &Asked) -> String {
    let at = &asked.at;
    let kind = match shape {
        Shape::Spiral(spiral) => format!("spiral on {} layers", spiral.copper_um.len()),
        Shape::Wound(wound) => format!("wound of {:.3} mm wire", wound.wire.diameter_mm()),
    };
    let band = sheet.resistance;
    let mut out = format!(
        "{kind}: {} turns, {:.2} m, {:.2} g of copper\n\n",
        sheet.turns, sheet.length_m, sheet.copper_g
    );
    let mut line = |name: &str, said: String| {
        let _ = writeln!(out, "  {name:<12} {said}");
    };
    line(
        "resistance",
        format!(
            "{:.3} ohm at 20 C; {:.2} to {:.2} ohm as coils come",
            band.nominal.0, band.low.0, band.high.0
        ),
    );
    let iron = if at.iron.is_some() {
        format!(", {:.1} uH with the iron", sheet.with_iron.0 * 1e6)
    } else {
        String::new()
    };
    line("inductance", format!("{:.1} uH in air{iron}", sheet.air.0 * 1e6));
    line(
        "L/R",
        format!(
            "{:.1} us in air; PWM worth using: {:.0} Hz",
            sheet.time_constant.0 * 1e6,
            sheet.pwm.0
        ),
    );
    if at.group.series.get() * at.group.parallel.get() > 1 {
        let (ohms, henries) = sheet.load;
        let (series, parallel) = (at.group.series, at.group.parallel);
        let said = format!(
            "{series} in series x {parallel}: {:.3} ohm, {:.1} uH",
            ohms.0,
            henries.0 * 1e6
        );
        line("group", said);
    }
    line(
        "on the axis",
        format!(
            "{:.4} mT/A {:.1} mm in front, changing {:+.4} mT/A per mm",
            sheet.on_axis.bz * 1e3,
            at.z_m * 1e3,
            sheet.on_axis.bz_by_z
        ),
    );
    if at.r_m > 0.0 {
        let field = sheet.at_fluid;
        line(
            "at the fluid",
            format!(
                "{:.1} mm aside: {:.4} mT/A along the axis, {:.4} away from it; size changing {:+.4} mT/A \
                 per mm towards it",
                at.r_m * 1e3,
                field.bz * 1e3,
                field.br * 1e3,
                -size_by_r(sheet)
            ),
        );
    }
    let on = sheet.continuous;
    line(
        "for ever",
        format!(
            "{:.2} W with the winding at {:.0} C, room {:.0} C, {}",
            on.heat.0,
            at.limit.0,
            at.room.0,
            asked.to_room()
        ),
    );
    line("", format!("{:.3} A and {:.2} V of direct current", on.current.0, on.voltage.0));
    let pwm = at.pwm.unwrap_or(sheet.pwm).0;
    line(
        "",
        format!(
            "duty {:.1} % at {:.1} V and {pwm:.0} Hz: mean current {:.3} A, {:.3} mT on the axis",
            on.duty * 100.0,
            at.supply.0,
            on.mean.0,
            sheet.continuous_t * 1e3
        ),
    );
    line(
        "per heat",
        format!("{:.4} mT for the first watt, twice for four", sheet.per_root_watt * 1e3),
    );
    out + "\n" + CAUTION
}

/// Change of the field's size per metre away from the axis, T/m/A, which is mT/mm/A.
fn size_by_r(sheet: &Figures) -> f64 {
    let field = sheet.at_fluid;
    let size = libm::hypot(field.br, field.bz);
    if size > 0.0 { (field.br * field.br_by_r + field.bz * field.bz_by_r) / size } else { 0.0 }
}

/// The sheet as JSON. Keys carry their units.
pub(super) fn json(sheet: &Figures, asked: &Asked) -> Value {
    let (at, on) = (&asked.at, sheet.continuous);
    object!({
        "turns": sheet.turns,
        "length_m": sheet.length_m,
        "copper_g": sheet.copper_g,
        "resistance_ohm": sheet.resistance.nominal.0,
        "resistance_low_ohm": sheet.resistance.low.0,
        "resistance_high_ohm": sheet.resistance.high.0,
        "measure_resistance": sheet.resistance.wants_measurement(),
        "inductance_uh": sheet.air.0 * 1e6,
        "inductance_with_iron_uh": sheet.with_iron.0 * 1e6,
        "time_constant_us": sheet.time_constant.0 * 1e6,
        "pwm_hz": sheet.pwm.0,
        "group_ohm": sheet.load.0.0,
        "group_uh": sheet.load.1.0 * 1e6,
        "fluid_mm": at.z_m * 1e3,
        "aside_mm": at.r_m * 1e3,
        "axis_mt_per_a": sheet.on_axis.bz * 1e3,
        "axis_by_z_mt_per_a_mm": sheet.on_axis.bz_by_z,
        "fluid_bz_mt_per_a": sheet.at_fluid.bz * 1e3,
        "fluid_br_mt_per_a": sheet.at_fluid.br * 1e3,
        "fluid_size_by_r_mt_per_a_mm": size_by_r(sheet),
        "axis_mt_per_root_w": sheet.per_root_watt * 1e3,
        "for_ever": {
            "limit_c": at.limit.0,
            "room_c": at.room.0,
            "to_room_k_per_w": on.to_room.0,
            "to_room_is_estimate": asked.to_room_is_estimate,
            "heat_w": on.heat.0,
            "current_a": on.current.0,
            "voltage_v": on.voltage.0,
            "supply_v": at.supply.0,
            "pwm_hz": at.pwm.unwrap_or(sheet.pwm).0,
            "duty": on.duty,
            "mean_a": on.mean.0,
            "axis_mt": sheet.continuous_t * 1e3,
        },
        "caution": CAUTION.split_whitespace().collect::<Vec<_>>().join(" "),
    })
}

/// A sweep as JSON: one object per value.
pub(super) fn json_rows(sweep: &Sweep, rows: &[SweepRow], asked: &Asked) -> Value {
    let row = |row: &SweepRow| match &row.figures {
        Ok(sheet) => object!({ "value": row.value, "figures": json(sheet, asked) }),
        Err(error) => object!({ "value": row.value, "refused": error.to_string() }),
    };
    object!({
        "varied": sweep.parameter.word(),
        "unit": sweep.parameter.unit(),
        "rows": rows.iter().map(row).collect::<Vec<_>>(),
    })
}

/// The row with most field for ever.
fn best(rows: &[SweepRow]) -> Option<f64> {
    let field = |row: &SweepRow| Some((row.value, row.figures.as_ref().ok()?.continuous_t));
    rows.iter().filter_map(field).max_by(|a, b| a.1.total_cmp(&b.1)).map(|(value, _)| value)
}

/// A sweep as a table for a terminal.
pub(super) fn table(sweep: &Sweep, rows: &[SweepRow], asked: &Asked) -> String {
    let head = [sweep.parameter.word(), sweep.parameter.unit()].join(" ");
    let head = head.trim();
    let mut out = format!(
        "{head:>9}  turns      ohm       uH     g  PWM Hz    mT/A  mT/W^0.5   for ever:  duty   mean A      mT\n"
    );
    let best = best(rows);
    for row in rows {
        let value = format!("{:>9}", brief(row.value));
        match &row.figures {
            Ok(sheet) => {
                let on = sheet.continuous;
                let mark = if best == Some(row.value) { "  <- most" } else { "" };
                let _ = writeln!(
                    out,
                    "{value}  {:>5} {:>8.3} {:>8.1} {:>5.1} {:>7.0} {:>7.4}  {:>8.4}            {:>6.3} {:>8.3} {:>7.3}{mark}",
                    sheet.turns,
                    sheet.resistance.nominal.0,
                    sheet.air.0 * 1e6,
                    sheet.copper_g,
                    sheet.pwm.0,
                    sheet.on_axis.bz * 1e3,
                    sheet.per_root_watt * 1e3,
                    on.duty,
                    on.mean.0,
                    sheet.continuous_t * 1e3
                );
            }
            Err(error) => {
                let _ = writeln!(out, "{value}  {error}");
            }
        }
    }
    let at = &asked.at;
    let _ = writeln!(
        out,
        "\nfield on the axis {:.1} mm in front; for ever: {:.1} V, winding at {:.0} C, room {:.0} C, {}{}",
        at.z_m * 1e3,
        at.supply.0,
        at.limit.0,
        at.room.0,
        asked.to_room(),
        if asked.to_room_is_estimate {
            " of the size as written; other sizes by their surface"
        } else {
            ""
        }
    );
    out + "\n" + CAUTION
}

const COLUMNS: &str = "turns,length_m,copper_g,resistance_ohm,resistance_low_ohm,resistance_high_ohm,inductance_uh,\
inductance_with_iron_uh,pwm_hz,axis_mt_per_a,fluid_bz_mt_per_a,fluid_br_mt_per_a,axis_mt_per_root_w,heat_w,duty,mean_a,\
axis_mt,refused";

/// A sweep as CSV, full digits.
pub(super) fn csv(sweep: &Sweep, rows: &[SweepRow]) -> String {
    let unit = sweep.parameter.unit();
    let unit = if unit.is_empty() { String::new() } else { format!("_{unit}") };
    let mut out = format!("{}{unit},{COLUMNS}\n", sweep.parameter.word());
    for row in rows {
        let _ = write!(out, "{}", row.value);
        match &row.figures {
            Ok(sheet) => {
                let (band, on) = (sheet.resistance, sheet.continuous);
                let cells = [
                    sheet.length_m,
                    sheet.copper_g,
                    band.nominal.0,
                    band.low.0,
                    band.high.0,
                    sheet.air.0 * 1e6,
                    sheet.with_iron.0 * 1e6,
                    sheet.pwm.0,
                    sheet.on_axis.bz * 1e3,
                    sheet.at_fluid.bz * 1e3,
                    sheet.at_fluid.br * 1e3,
                    sheet.per_root_watt * 1e3,
                    on.heat.0,
                    on.duty,
                    on.mean.0,
                    sheet.continuous_t * 1e3,
                ];
                let _ = write!(out, ",{}", sheet.turns);
                for cell in cells {
                    let _ = write!(out, ",{cell}");
                }
                out.push_str(",\n");
            }
            Err(error) => {
                let empty = COLUMNS.matches(',').count();
                let said = error.to_string().replace('"', "'");
                let _ = writeln!(out, "{}\"{said}\"", ",".repeat(empty + 1));
            }
        }
    }
    out
}

/// A sweep as curves.
pub(super) fn curves_of(sweep: &Sweep, shape: &Shape, rows: &[SweepRow], asked: &Asked) -> Curves {
    let kind = match shape {
        Shape::Spiral(_) => "Spiral",
        Shape::Wound(_) => "Wound coil",
    };
    let curve = |label: &str, mark_most, of: fn(&Figures) -> f64| Curve {
        label: label.to_owned(),
        values: rows.iter().map(|row| row.figures.as_ref().ok().map(of)).collect(),
        mark_most,
    };
    let at = &asked.at;
    let title = format!(
        "{kind} at {:.1} V, winding to {:.0} C in a room of {:.0} C, field {:.1} mm in front",
        at.supply.0,
        at.limit.0,
        at.room.0,
        at.z_m * 1e3
    );
    let unit = sweep.parameter.unit();
    let across = if unit.is_empty() { String::new() } else { format!(", {unit}") };
    Curves {
        title,
        across: sweep.parameter.word().to_owned() + &across,
        places: rows.iter().map(|row| row.value).collect(),
        curves: vec![
            curve("Field on the axis for ever, mT", true, |sheet| sheet.continuous_t * 1e3),
            curve("Field per root watt, mT/W^0.5", true, |sheet| sheet.per_root_watt * 1e3),
            curve("Resistance at 20 C, ohm", false, |sheet| sheet.resistance.nominal.0),
            curve("Mean current for ever, A", false, |sheet| sheet.continuous.mean.0),
        ],
    }
}

/// As many digits as the value has, six at most.
fn brief(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
