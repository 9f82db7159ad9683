//! What was seen goes into the display file.

use crate::shown::Shown as _;
use std::path::Path;

use thiserror::Error;

use crate::preset::Display;
use crate::preset::write::{SeenLifts, WriteBackError, with_lifts};
use crate::run::rewrite::{RewriteError, rewrite};

/// Why a display file was not written. It is as it was.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SaveError {
    /// The new values do not go into it.
    #[error("{0}: {1}; put the duties above into it by hand")]
    Text(String, WriteBackError),
    /// The file is not what it was, or cannot be written.
    #[error("{0}; put the duties above into it by hand")]
    File(#[from] RewriteError),
}

/// Writes what was seen into the file at `path`, from which `display` was read, whole or not at all,
/// and reads it back.
///
/// # Errors
/// [`SaveError`], with the file as it was unless it cannot be read back.
pub fn save(path: &Path, display: &Display, seen: &SeenLifts) -> Result<Display, SaveError> {
    let text = with_lifts(display.text(), display, seen)
        .map_err(|error| SaveError::Text(path.shown(), error))?;
    Ok(rewrite(path, display, &text)?)
}
