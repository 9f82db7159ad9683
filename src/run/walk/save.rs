//! What was seen goes into the display file.
#![allow(clippy::disallowed_methods, reason = "writes the display file")]

use std::fs;
use std::io::Write;
use std::path::Path;

use thiserror::Error;

use crate::preset::write::{SeenLifts, WriteBackError, with_lifts};
use crate::preset::{Display, Refusals, load_display};
use crate::sink::SinkError;
use crate::sink::part::Part;

/// Why a display file was not written. It is as it was.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SaveError {
    /// Somebody else wrote it meanwhile.
    #[error(
        "{0} was changed since it was read, and is left alone: put the duties above into it by hand"
    )]
    Changed(String),
    /// The new values do not go into it.
    #[error("{0}: {1}; put the duties above into it by hand")]
    Text(String, WriteBackError),
    /// The file cannot be written.
    #[error(transparent)]
    Place(#[from] SinkError),
    /// What was written cannot be read back.
    #[error("{0}")]
    Back(#[from] Refusals),
}

/// Writes what was seen into the file at `path`, from which `display` was read, whole or not at all,
/// and reads it back.
///
/// # Errors
/// [`SaveError`], with the file as it was; [`SaveError::Back`] if it cannot be read back.
pub fn save(path: &Path, display: &Display, seen: &SeenLifts) -> Result<Display, SaveError> {
    let name = path.display().to_string();
    // Through a link to the file itself: renaming would replace the link.
    let real = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if fs::read(&real).ok().as_deref() != Some(display.text().as_bytes()) {
        return Err(SaveError::Changed(name));
    }
    let text = with_lifts(display.text(), display, seen)
        .map_err(|error| SaveError::Text(name.clone(), error))?;
    crate::preset::display::read(&name, &text)?;
    let (part, mut file) = Part::create(&real)?;
    if let Ok(there) = fs::metadata(&real) {
        // Who may read it stays as it was; where that cannot be kept, the file counts.
        let _ = file.set_permissions(there.permissions());
    }
    let written = file.write_all(text.as_bytes()).and_then(|()| part.settle(&file));
    if let Err(error) = written {
        part.discard();
        return Err(SinkError::Place { path: real, why: error.to_string() }.into());
    }
    Ok(load_display(path)?)
}
