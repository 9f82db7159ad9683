//! Duty files on disk.
//!
//! A file is written as `NAME.part` beside its place and gets its name when it is whole, so that
//! what carries the name is whole. A run that is cut short leaves the `.part`; [`open`] reads it up
//! to its last whole packet.
#![allow(clippy::disallowed_methods, reason = "this is where duty files are written and opened")]

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::{Sink, SinkError};
use crate::budget::Duty;
use crate::frame::record::{ReadError, Reader, WriteError, Writer, check_head};
use crate::frame::{Head, Meter, RecordedCode, Tail};

/// Bytes gathered before they go to the disk: about three seconds of 24 coils at 200 frames/s.
const BUFFER: usize = 32 * 1024;

/// A duty file in the making.
///
/// Dropped before [`finish`](Self::finish), it writes out what it has and stays `NAME.part`.
#[derive(Debug)]
pub struct DutyFile {
    path: PathBuf,
    part: PathBuf,
    writer: Writer<BufWriter<File>>,
}

impl DutyFile {
    /// Begins `PATH.part` with its head. A `.part` that an earlier run left is written over; a file
    /// at `path` itself stays until [`finish`](Self::finish).
    ///
    /// # Errors
    ///
    /// A head that cannot stand, or a place where no file can be written; nothing is touched then.
    pub fn create(path: impl AsRef<Path>, head: &Head) -> Result<Self, SinkError> {
        let path = path.as_ref().to_path_buf();
        check_head(head).map_err(WriteError::from)?;
        let part =
            check_place(&path).map_err(|why| SinkError::Place { path: path.clone(), why })?;
        let file = open_part(&part).map_err(|why| SinkError::Place { path: part.clone(), why })?;
        let writer = Writer::new(BufWriter::with_capacity(BUFFER, file), head)
            .map_err(|source| SinkError::File { path: part.clone(), source })?;
        Ok(Self { path, part, writer })
    }

    /// Copies a recorded frame, see [`Writer::recorded`].
    ///
    /// # Errors
    ///
    /// As [`Writer::recorded`], with the name of the file.
    pub fn recorded(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), SinkError> {
        self.writer.recorded(number, codes).map_err(at(&self.part))
    }

    /// Writes the tail, brings everything to the disk, gives the file its name and says which.
    ///
    /// # Errors
    ///
    /// As [`Writer::tail`], with the name of the file, which stays `.part` then.
    pub fn finish(mut self, tail: &Tail) -> Result<PathBuf, SinkError> {
        self.writer.tail(tail).map_err(at(&self.part))?;
        let settle = |writer: &mut Writer<BufWriter<File>>| -> io::Result<()> {
            writer.get_mut().get_ref().sync_all()?;
            fs::rename(&self.part, &self.path)
        };
        settle(&mut self.writer).map_err(|error| at(&self.part)(error.into()))?;
        // The new name itself is on the disk once the directory is. Not every system can.
        if let Ok(directory) = File::open(directory_of(&self.path)) {
            let _ = directory.sync_all();
        }
        Ok(self.path.clone())
    }

    /// The file on disk while it is written.
    pub fn part(&self) -> &Path {
        &self.part
    }
}

impl Drop for DutyFile {
    fn drop(&mut self) {
        // Nobody is left to tell; what could not be written was told frame by frame or is lost.
        let _ = self.writer.get_mut().flush();
    }
}

impl Sink for DutyFile {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        self.writer.duty(number, duties).map_err(at(&self.part))
    }

    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        self.writer.meter(meter).map_err(at(&self.part))
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.writer.off(number).map_err(at(&self.part))
    }
}

/// A file that could not be opened as a duty file.
#[derive(Debug, Error)]
#[error("{}: {source}{}", .path.display(), hint(.path, .source))]
pub struct OpenError {
    /// The file.
    pub path: PathBuf,
    /// Why.
    pub source: ReadError,
}

/// Opens a duty file, whole or `.part`, and reads its head.
///
/// # Errors
///
/// When there is no such file, it is none of ours, or another major version wrote it.
pub fn open(path: impl AsRef<Path>) -> Result<Reader<File>, OpenError> {
    let path = path.as_ref();
    File::open(path)
        .map_err(|source| ReadError::Io { at: 0, source })
        .and_then(Reader::new)
        .map_err(|source| OpenError { path: path.to_path_buf(), source })
}

/// Points at the `.part` of a file that never came about.
fn hint(path: &Path, error: &ReadError) -> String {
    let missing = matches!(
        error,
        ReadError::Io { source, .. } if source.kind() == io::ErrorKind::NotFound
    );
    match part_of(path) {
        Some(part) if missing && part.is_file() => {
            format!("; {} is there: a run was cut short, open that", part.display())
        }
        _ => String::new(),
    }
}

fn at(part: &Path) -> impl FnOnce(WriteError) -> SinkError + '_ {
    move |source| SinkError::File { path: part.to_path_buf(), source }
}

fn part_of(path: &Path) -> Option<PathBuf> {
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
                return Err(format!("{} is a directory: choose another name", place.display()));
            }
            Ok(there) if !there.is_file() => {
                let place = place.display();
                return Err(format!("{place} is no plain file and would be replaced by one"));
            }
            _ => {}
        }
    }
    match fs::metadata(directory) {
        Ok(there) if there.is_dir() => Ok(part),
        Ok(_) => Err(format!("{} is no directory", directory.display())),
        Err(error) => {
            Err(format!("its directory {}: {error}; create it first", directory.display()))
        }
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
    // Where locks are not known, two runs to one name are the user's own affair.
    if let Err(TryLockError::WouldBlock) = file.try_lock() {
        return Err("another run is writing it: wait for it or choose another name".into());
    }
    file.set_len(0).map_err(|error| error.to_string())?;
    Ok(file)
}
