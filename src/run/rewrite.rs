//! A display file that is rewritten in place: by a walk that saw lifts, by a fit, with their date.
#![allow(clippy::disallowed_methods, reason = "writes the display file, dates it by the clock")]

use crate::shown::Shown as _;
use std::fs;
use std::io::Write;
use std::path::Path;

use thiserror::Error;

use super::layout::Layout;
use crate::preset::{Display, Refusals, load_display};
use crate::sink::SinkError;
use crate::sink::part::Part;

/// Why a display file was not written. It is as it was, but for [`RewriteError::Back`].
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RewriteError {
    /// Somebody else wrote it meanwhile.
    #[error("{0} was changed since it was read, and is left alone")]
    Changed(String),
    /// The file cannot be written.
    #[error(transparent)]
    Place(#[from] SinkError),
    /// The new text is no display.
    #[error("{0}")]
    Text(Refusals),
    /// What was written cannot be read back.
    #[error("{0}")]
    Back(Refusals),
}

/// Writes `new_text` into the file at `path`, from which `display` was read, whole or not at all, and
/// reads it back.
///
/// # Errors
/// [`RewriteError`], with the file as it was; [`RewriteError::Back`] if it cannot be read back.
pub fn rewrite(path: &Path, display: &Display, new_text: &str) -> Result<Display, RewriteError> {
    let name = path.shown();
    // Through a link to the file itself: renaming would replace the link.
    let real = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if fs::read(&real).ok().as_deref() != Some(display.text().as_bytes()) {
        return Err(RewriteError::Changed(name));
    }
    crate::preset::display::read(&name, new_text).map_err(RewriteError::Text)?;
    let new_text = Layout::of(display.text()).apply(new_text);
    let (part, mut file) = Part::create(&real)?;
    if let Ok(there) = fs::metadata(&real) {
        // Who may read it stays as it was; where that cannot be kept, the file counts.
        let _ = file.set_permissions(there.permissions());
    }
    let written = file.write_all(new_text.as_bytes()).and_then(|()| part.settle(&file));
    if let Err(error) = written {
        part.discard();
        return Err(SinkError::Place { path: real, why: error.to_string() }.into());
    }
    load_display(path).map_err(RewriteError::Back)
}

/// Year, month and day by the wall clock, in UTC; `None` without a clock.
pub fn today() -> Option<(u16, u8, u8)> {
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).ok()?;
    date_of(now.as_secs() / 86_400)
}

/// The date so many days after 1 January 1970, by the rules of the Gregorian calendar: years of 365
/// days, one more in every fourth, but for the hundredths that are no four-hundredths.
fn date_of(mut days: u64) -> Option<(u16, u8, u8)> {
    let leap = |year: u16| {
        year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
    };
    for year in 1970..=9999 {
        let february = if leap(year) { 29 } else { 28 };
        for (month, length) in (1..).zip([31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) {
            if days < length {
                return Some((year, month, u8::try_from(days).ok()? + 1));
            }
            days -= length;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::date_of;

    /// Against `date -u -d @...` of GNU coreutils.
    #[test]
    fn days_become_dates() {
        for (days, date) in [
            (0, (1970, 1, 1)),
            (58, (1970, 2, 28)),
            (59, (1970, 3, 1)),
            (11_016, (2000, 2, 29)),
            (11_017, (2000, 3, 1)),
            (20_454, (2026, 1, 1)),
            (20_818, (2026, 12, 31)),
            (47_540, (2100, 2, 28)),
            (47_541, (2100, 3, 1)),
        ] {
            assert_eq!(date_of(days), Some(date), "{days}");
        }
        assert_eq!(date_of(u64::MAX), None);
    }
}
