//! Reads one route of a mapping.

use super::finding::At;
use super::limits::{
    ATTACK, EXPONENT, FLOOR, FLOOR_DBFS, FULL, FULL_DBFS, HOLD, LAYER, Quantity, RELEASE, WEIGHT,
};
use super::read_ears;
use super::read_hears;
use super::read_moves::read_moves;
use super::route::{Curve, Hears, Moves, Range, Route};
use super::section::Section;
use super::values::{Menu, Picked};
use super::words::{counted, rounded};

pub(super) const RANGE: Menu = Menu {
    words: &[],
    tables: &[
        ("follow", "range.follow = { floor_db = -24, full_db = 0 }"),
        ("fixed", "range.fixed = { floor_dbfs = -50, full_dbfs = -12 }"),
    ],
};
pub(super) const CURVE: Menu =
    Menu { words: &["straight", "soft"], tables: &[("power", "curve.power = { exponent = 2.0 }")] };
pub(super) fn read(mut section: Section<'_>) -> Option<Route> {
    let name = section.text("name", 64, "add a name unlike the other routes'");
    let channel = section.choice("channel");
    let weighting = section.choice("weighting");
    let hears = read_hears::read(&mut section);
    let range = read_range(&mut section);
    let curve = read_curve(&mut section);
    let attack_ms = section.number_or(&ATTACK, 5.0).value;
    let hold_ms = section.number_or(&HOLD, 60.0).value;
    let release_ms = section.number_or(&RELEASE, 180.0).value;
    let moves = read_moves(&mut section);
    let weight = section.number_or(&WEIGHT, 1.0);
    if weight.value.abs() < f64::MIN_POSITIVE {
        let title = format!("{}: this route moves nothing", section.path("weight"));
        section.pad.warn(&weight.span, title, "any other weight lets it move");
    }
    let priority = section.whole_or(&LAYER, 0);
    if let (Some(hears), Some(moves)) = (&hears, &moves) {
        suits(&section, hears, moves);
    }
    if let Some(hears) = &hears {
        read_ears::warn_idle_keys(&section, hears);
    }
    section.finish();
    Some(Route {
        name: name?,
        channel,
        weighting,
        hears: hears?,
        range,
        curve,
        attack_ms,
        hold_ms,
        release_ms,
        moves: moves?.value,
        weight,
        priority,
    })
}

/// One band for motions that follow one level, two or more for those that lay bands out. A carried
/// spot follows one level or the balance of several.
fn suits(section: &Section<'_>, hears: &At<Hears>, moves: &At<Moves>) {
    let bands = hears.value.values();
    let (motion, one) = match moves.value {
        Moves::LevelAll { .. } => ("level_all", true),
        Moves::Column { .. } => ("column", true),
        Moves::Along { .. } => ("along", false),
        Moves::Carry { .. } => return,
        Moves::Outward { .. } => ("outward", true),
    };
    let (needs, cure) = match (one, bands) {
        (true, 2..) => ("one band", "hear one with hears.band or hears.scale_band"),
        (false, 0 | 1) => ("two or more bands", "hear several with hears.bands or hears.edges"),
        _ => return,
    };
    let path = section.path("moves");
    let heard = counted(bands, "band");
    let title = format!("{path}: {motion} needs {needs} and the route hears {heard}");
    section.pad.refuse(&moves.span, title, cure);
}

fn read_range(section: &mut Section<'_>) -> Range {
    const DEFAULT: Range = Range::Follow { floor_db: -24.0, full_db: 0.0 };
    let Some(picked) = section.menu("range", &RANGE, false) else { return DEFAULT };
    let Picked::Table(tag, mut table) = picked.value else { return DEFAULT };
    let range = if tag == "follow" {
        let ends = rising(&mut table, [&FLOOR, &FULL], 1.0);
        ends.map(|[floor_db, full_db]| Range::Follow { floor_db, full_db })
    } else {
        let ends = rising(&mut table, [&FLOOR_DBFS, &FULL_DBFS], 1.0);
        ends.map(|[floor_dbfs, full_dbfs]| Range::Fixed { floor_dbfs, full_dbfs })
    };
    table.finish();
    range.unwrap_or(DEFAULT)
}

/// Two numbers, the second above the first by at least `gap`.
pub(super) fn rising(table: &mut Section<'_>, keys: [&Quantity; 2], gap: f64) -> Option<[f64; 2]> {
    let [low_key, high_key] = keys;
    let (low, high) = (table.number(low_key), table.number(high_key));
    let (low, high) = (low?, high?);
    if high.value <= low.value {
        not_above(table, high_key, &high, low.value, low_key);
        return None;
    }
    if high.value < low.value + gap {
        let (path, unit) = (table.path(high_key.key), high_key.unit_after());
        let written = table.pad.source.quote(&high.span);
        let title = format!("{path}: {written}{unit} is too close to {}", low_key.key);
        let label = format!("write at least {}{unit}", rounded(low.value + gap));
        table.pad.refuse(&high.span, title, label);
        return None;
    }
    Some([low.value, high.value])
}

pub(super) fn not_above(
    table: &Section<'_>,
    key: &Quantity,
    got: &At<f64>,
    floor: f64,
    than: &Quantity,
) {
    let (path, unit) = (table.path(key.key), key.unit_after());
    let written = table.pad.source.quote(&got.span);
    let title = format!("{path}: {written}{unit} is not above {}", than.key);
    table.pad.refuse(&got.span, title, format!("write more than {}{unit}", rounded(floor)));
}

fn read_curve(section: &mut Section<'_>) -> Curve {
    match section.menu("curve", &CURVE, false).map(|picked| picked.value) {
        Some(Picked::Word("soft")) => Curve::Soft,
        Some(Picked::Table(_, mut power)) => {
            let exponent = power.number(&EXPONENT);
            power.finish();
            exponent.map_or(Curve::Straight, |exponent| Curve::Power { exponent: exponent.value })
        }
        _ => Curve::Straight,
    }
}
