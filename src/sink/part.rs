//! A file in the making: `NAME.part` beside its place, which gets its name when it is whole.
#![allow(clippy::disallowed_methods, reason = "this is where files are begun and named")]

use crate::shown::Shown as _;
use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io::{self, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::SinkError;

/// Where a file will be, and where it is until it is whole.
///
/// Dropped before [`settle`](Self::settle), it leaves the `.part` as it is.
#[derive(Debug)]
pub struct Part {
    path: PathBuf,
    part: PathBuf,
}

/// How a closed `.part` was left. Nothing keeps other runs from it meanwhile, and one that renders the
/// same song leaves as many bytes; so it is known again by its time as well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Left {
    bytes: u64,
    changed: Option<SystemTime>,
}

impl Part {
    /// Begins `PATH.part`, empty and for this run alone. A `.part` that an earlier run left is
    /// written over; a file at `path` itself stays until [`settle`](Self::settle).
    ///
    /// # Errors
    ///
    /// [`SinkError::Place`] for a place where no file can be written.
    pub fn create(path: impl AsRef<Path>) -> Result<(Self, File), SinkError> {
        let path = path.as_ref().to_path_buf();
        let part =
            check_place(&path).map_err(|why| SinkError::Place { path: path.clone(), why })?;
        let file = open_part(&part).map_err(|why| SinkError::Place { path: part.clone(), why })?;
        Ok((Self { path, part }, file))
    }

    /// The file under its name to be.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The file on disk while it is written.
    pub fn part(&self) -> &Path {
        &self.part
    }

    /// Closes the `.part` for now.
    ///
    /// # Errors
    ///
    /// When it cannot be asked how it was left.
    pub fn close(&self, file: File) -> io::Result<Left> {
        let bytes = file.metadata()?.len();
        // Some systems only know the time of a file once it is closed.
        drop(file);
        Ok(Left { bytes, changed: fs::metadata(&self.part)?.modified().ok() })
    }

    /// Opens the `.part` again, for this run alone, to go on at its end.
    ///
    /// # Errors
    ///
    /// [`SinkError::Place`] when it is not there, or not as it was left.
    pub fn reopen(&self, left: Left) -> Result<File, SinkError> {
        let file = open_left(&self.part, left);
        file.map_err(|why| SinkError::Place { path: self.part.clone(), why })
    }

    /// Brings everything in `file`, which [`create`](Self::create) or [`reopen`](Self::reopen) gave, to
    /// the disk and gives it its name.
    ///
    /// # Errors
    ///
    /// When the disk or the directory does not take it.
    pub fn settle(&self, file: &File) -> io::Result<()> {
        file.sync_all()?;
        fs::rename(&self.part, &self.path)?;
        // The new name itself is on the disk once the directory is. Not every system can.
        if let Ok(directory) = File::open(directory_of(&self.path)) {
            let _ = directory.sync_all();
        }
        Ok(())
    }

    /// Removes the `.part`, where an unfinished file is of no use to anyone.
    pub fn discard(self) {
        // What went wrong is being reported already.
        let _ = fs::remove_file(&self.part);
    }
}

/// True when writing to `out` (or to its `.part`) would write over the file `input`.
pub fn writes_over(out: &Path, input: &Path) -> bool {
    let same = |place: &Path| match (fs::canonicalize(place), fs::canonicalize(input)) {
        (Ok(place), Ok(input)) => place == input,
        _ => false,
    };
    same(out) || part_of(out).is_some_and(|part| same(&part))
}

pub(super) fn part_of(path: &Path) -> Option<PathBuf> {
    let mut name = OsString::from(path.file_name()?);
    name.push(".part");
    Some(path.with_file_name(name))
}

fn directory_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Refuses what would only fail, or do harm, after a long run.
fn check_place(path: &Path) -> Result<PathBuf, String> {
    let directory = directory_of(path);
    let part = part_of(path).ok_or("it has no file name: add one, such as song.duty")?;
    for place in [path, &part] {
        match fs::metadata(place) {
            Ok(there) if there.is_dir() => {
                return Err(format!("{} is a directory: choose another name", place.shown()));
            }
            Ok(there) if !there.is_file() => {
                let place = place.shown();
                return Err(format!("{place} is no plain file and would be replaced by one"));
            }
            _ => {}
        }
    }
    match fs::metadata(directory) {
        Ok(there) if there.is_dir() => Ok(part),
        Ok(_) => Err(format!("{} is no directory", directory.shown())),
        Err(error) => Err(format!("its directory {}: {error}; create it first", directory.shown())),
    }
}

/// Opens the part for this run alone and empties it.
fn open_part(part: &Path) -> Result<File, String> {
    let open = File::options().write(true).create(true).truncate(false).open(part);
    let file = open.map_err(|error| match error.kind() {
        io::ErrorKind::PermissionDenied => {
            format!("{error}: choose a directory you may write to, or change its rights")
        }
        _ => error.to_string(),
    })?;
    lock(&file, part)?;
    file.set_len(0).map_err(|error| error.to_string())?;
    Ok(file)
}

/// Opens a part that this run has closed, at its end.
fn open_left(part: &Path, left: Left) -> Result<File, String> {
    let said = |error: io::Error| error.to_string();
    let mut file = File::options().write(true).open(part).map_err(said)?;
    lock(&file, part)?;
    let changed = file.metadata().map_err(said)?.modified().ok();
    let bytes = file.seek(SeekFrom::End(0)).map_err(said)?;
    match (Left { bytes, changed }) == left {
        true => Ok(file),
        false => Err("another run has written it since it was closed: render again".to_owned()),
    }
}

/// Locks the file that was opened as `part`.
fn lock(file: &File, part: &Path) -> Result<(), String> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => {
            Err("another run is writing it: wait for it or choose another name".into())
        }
        // Whoever held it may have given it its name since it was opened: it is whole.
        _ if !part.exists() => Err("another run has just ended it: start again".into()),
        // Where locks are not known, two runs to one name are the user's own affair.
        _ => Ok(()),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_got_its_name_after_it_was_opened_is_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let (part, whole) = (dir.path().join("a.part"), dir.path().join("a"));
        fs::write(&part, "whole").unwrap();
        let file = File::options().write(true).open(&part).unwrap();
        lock(&file, &part).unwrap();
        fs::rename(&part, &whole).unwrap();
        assert!(lock(&file, &part).unwrap_err().contains("start again"));
    }
}
