//! Fitted figures into the display file, in place.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use coilscore::preset::Display;
use coilscore::preset::write_fit::{FittedType, with_fit};
use coilscore::sink::part::Part;

use super::super::Failure;
use super::Tested;

/// What goes into the file.
pub(super) fn fitted_type(tested: &Tested<'_>) -> FittedType {
    let fitted = &tested.fitted;
    let (year, month, day) = today();
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
        remark: format!(
            "on {year:04}-{month:02}-{day:02} to the heating test {}",
            tested.log_name()
        ),
    }
}

/// The text of the display with the figures in it.
pub(super) fn with_figures(display: &Display, fitted: &FittedType) -> Result<String, Failure> {
    with_fit(display.text(), display, fitted).map_err(Failure::refused)
}

/// Writes the new text where the old one still stands, whole or not at all; says which lines changed.
pub(super) fn save(path: &Path, display: &Display, new_text: &str) -> Result<String, Failure> {
    // Through a link to the file itself: renaming would replace the link.
    let real = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if fs::read(&real).ok().as_deref() != Some(display.text().as_bytes()) {
        return Err(Failure::Refused(format!(
            "{} was changed since it was read, and is left alone: run the fit again",
            path.display()
        )));
    }
    let (part, mut file) = Part::create(&real).map_err(Failure::failed)?;
    if let Ok(there) = fs::metadata(&real) {
        let _ = file.set_permissions(there.permissions());
    }
    match file.write_all(new_text.as_bytes()).and_then(|()| part.settle(&file)) {
        Ok(()) => Ok(changes(display.text(), new_text)),
        Err(error) => {
            part.discard();
            Err(Failure::Failed(format!("{}: {error}; is there room?", path.display())))
        }
    }
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

/// Year, month and day of the clock, in UTC.
fn today() -> (i64, i64, i64) {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    civil(i64::try_from(seconds / 86_400).unwrap_or(0))
}

/// Days since 1970-01-01 in the Gregorian calendar, which repeats every 146,097 days.
fn civil(days: i64) -> (i64, i64, i64) {
    // Counted from 0000-03-01, so that the leap day comes last in its year.
    let days = days + 719_468;
    let (cycle, day) = (days.div_euclid(146_097), days.rem_euclid(146_097));
    let year = (day - day / 1460 + day / 36_524 - day / 146_096) / 365;
    let day = day - (365 * year + year / 4 - year / 100);
    let month = (5 * day + 2) / 153;
    let first = (153 * month + 2) / 5;
    let month_of_year = if month < 10 { month + 3 } else { month - 9 };
    (cycle * 400 + year + i64::from(month_of_year <= 2), month_of_year, day - first + 1)
}

#[cfg(test)]
mod tests {
    use super::civil;

    #[test]
    fn days_have_dates() {
        assert_eq!(civil(0), (1970, 1, 1));
        assert_eq!(civil(11_016), (2000, 2, 29));
        assert_eq!(civil(19_782), (2024, 2, 29));
        assert_eq!(civil(20_454), (2026, 1, 1));
        assert_eq!(civil(47_540), (2100, 2, 28));
        assert_eq!(civil(47_541), (2100, 3, 1));
    }
}
