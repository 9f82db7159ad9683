//! Fitted figures into the display file, in place.

use std::path::Path;

use coilscore::preset::Display;
use coilscore::preset::write_fit::{FittedType, with_fit};
use coilscore::run::rewrite::{RewriteError, rewrite, today};

use super::super::Failure;
use super::Tested;

/// What goes into the file.
pub(super) fn fitted_type(tested: &Tested<'_>) -> FittedType {
    let fitted = &tested.fitted;
    let on = today().map_or_else(String::new, |(year, month, day)| {
        format!("on {year:04}-{month:02}-{day:02} ")
    });
    FittedType {
        coil_type: tested.index,
        resistance_ohm: fitted.cold_ohm.value,
        reference_c: fitted.cold_c,
        coil_j_per_k: fitted.coil_j_per_k.value,
        backing_j_per_k: fitted.backing_j_per_k.value,
        coil_to_backing_k_per_w: fitted.coil_to_backing_k_per_w.value,
        backing_to_around_k_per_w: fitted.backing_to_around_k_per_w.value,
        margin_percent: fitted.margin.margin_percent,
        power_percent: fitted.margin.power_percent,
        remark: format!("{on}to the heating test {}", tested.log_name()),
    }
}

/// The text of the display with the figures in it.
pub(super) fn with_figures(display: &Display, fitted: &FittedType) -> Result<String, Failure> {
    with_fit(display.text(), display, fitted).map_err(Failure::refused)
}

/// Writes the new text where the old one still stands, whole or not at all; says which lines changed.
pub(super) fn save(path: &Path, display: &Display, new_text: &str) -> Result<String, Failure> {
    rewrite(path, display, new_text).map_err(|error| match error {
        RewriteError::Place(_) => {
            Failure::Failed(format!("{error}; is there room, and may you write there?"))
        }
        other => Failure::Refused(format!("{other}: run the fit again")),
    })?;
    Ok(changes(display.text(), new_text))
}

/// Lines that went and lines that came.
fn changes(old: &str, new: &str) -> String {
    let mut text = String::new();
    let missing = |line: &&str, from: &str| !from.lines().any(|other| other == *line);
    for line in old.lines().filter(|line| missing(line, new)) {
        text += &format!("  - {}\n", line.trim_end());
    }
    for line in new.lines().filter(|line| missing(line, old)) {
        text += &format!("  + {}\n", line.trim_end());
    }
    text
}
