//! Duty files on disk.
//!
//! A file is written as `NAME.part` beside its place and gets its name when it is whole, so that
//! what carries the name is whole. A run that is cut short leaves the `.part`; [`open`] reads it up
//! to its last whole packet.
#![allow(clippy::disallowed_methods, reason = "this is where duty files are written and opened")]

use crate::shown::Shown as _;
use std::fs::File;
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::part::{Left, Part, part_of};
use super::{Sink, SinkError};
use crate::budget::{Duty, Start};
use crate::frame::record::{ReadError, Reader, WriteError, Writer, check_head};
use crate::frame::{Hands, Head, Meter, RecordedCode, Tail};

/// Bytes gathered before they go to the disk: about three seconds of 24 coils at 200 frames/s.
const BUFFER: usize = 32 * 1024;

/// A duty file in the making.
///
/// Dropped before [`finish`](Self::finish), it writes out what it has (its buffer does so) and stays
/// `NAME.part`.
#[derive(Debug)]
pub struct DutyFile {
    part: Part,
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
        check_head(head).map_err(WriteError::from)?;
        let (part, file) = Part::create(path)?;
        let writer = Writer::new(BufWriter::with_capacity(BUFFER, file), head)
            .map_err(|source| SinkError::File { path: part.part().to_path_buf(), source })?;
        Ok(Self { part, writer })
    }

    /// Copies a recorded frame, see [`Writer::recorded`].
    ///
    /// # Errors
    ///
    /// As [`Writer::recorded`], with the name of the file.
    pub fn recorded(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), SinkError> {
        self.writer.recorded(number, codes).map_err(at(self.part.part()))
    }

    /// Keeps the heat at frame 0, see [`Writer::start`].
    ///
    /// # Errors
    ///
    /// As [`Writer::start`], with the name of the file.
    pub fn start(&mut self, start: &Start) -> Result<(), SinkError> {
        self.writer.start(start).map_err(at(self.part.part()))
    }

    /// Writes out what is there and closes the file until its tail is known.
    ///
    /// # Errors
    ///
    /// When the disk does not take it.
    pub fn close(self) -> Result<ClosedFile, SinkError> {
        let Self { part, writer } = self;
        let (writer, out) = writer.onto(io::sink());
        let file = out.into_inner().map_err(io::IntoInnerError::into_error);
        match file.and_then(|file| part.close(file)) {
            Ok(left) => Ok(ClosedFile { part, writer, left }),
            Err(error) => Err(at(part.part())(error.into())),
        }
    }

    /// Writes the tail, brings everything to the disk, gives the file its name and says which.
    ///
    /// # Errors
    ///
    /// As [`Writer::tail`], with the name of the file, which stays `.part` then.
    pub fn finish(mut self, tail: &Tail) -> Result<PathBuf, SinkError> {
        self.writer.tail(tail).map_err(at(self.part.part()))?;
        let settled = self.part.settle(self.writer.get_mut().get_ref());
        settled.map_err(|error| at(self.part.part())(error.into()))?;
        Ok(self.part.path().to_path_buf())
    }

    /// The file on disk while it is written.
    pub fn part(&self) -> &Path {
        self.part.part()
    }
}

/// A duty file with all its frames, closed until its tail is known: however many wait, none of them
/// holds a file open. It stays `NAME.part` until then.
#[derive(Debug)]
pub struct ClosedFile {
    part: Part,
    writer: Writer<io::Sink>,
    left: Left,
}

impl ClosedFile {
    /// Opens it again and ends it, see [`DutyFile::finish`].
    ///
    /// # Errors
    ///
    /// As [`DutyFile::finish`], and when the `.part` is no longer what it was.
    pub fn finish(self, tail: &Tail) -> Result<PathBuf, SinkError> {
        let file = self.part.reopen(self.left)?;
        let (writer, _) = self.writer.onto(BufWriter::with_capacity(BUFFER, file));
        DutyFile { part: self.part, writer }.finish(tail)
    }
}

impl Sink for DutyFile {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        self.writer.duty(number, duties).map_err(at(self.part.part()))
    }

    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        self.writer.meter(meter).map_err(at(self.part.part()))
    }

    fn hands(&mut self, number: u32, hands: Hands) -> Result<(), SinkError> {
        self.writer.hands(number, hands).map_err(at(self.part.part()))
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.writer.off(number).map_err(at(self.part.part()))
    }
}

/// A file that could not be opened as a duty file.
#[derive(Debug, Error)]
#[error("{}: {source}{}", .path.shown(), hint(.path, .source))]
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
    ends(path)
        .and_then(|()| File::open(path))
        .map_err(|source| ReadError::Io { at: 0, source })
        .and_then(Reader::new)
        .map_err(|source| OpenError { path: path.to_path_buf(), source })
}

/// A device may never end; a pipe does.
fn ends(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if std::fs::metadata(path)
        .is_ok_and(|there| std::os::unix::fs::FileTypeExt::is_char_device(&there.file_type()))
    {
        return Err(io::Error::other("a device, and no duty file"));
    }
    let _ = path;
    Ok(())
}

/// Points at the `.part` of a file that never came about.
fn hint(path: &Path, error: &ReadError) -> String {
    let missing = matches!(
        error,
        ReadError::Io { source, .. } if source.kind() == io::ErrorKind::NotFound
    );
    match part_of(path) {
        Some(part) if missing && part.is_file() => {
            format!("; {} is there: a run was cut short, open that", part.shown())
        }
        _ => String::new(),
    }
}

fn at(part: &Path) -> impl FnOnce(WriteError) -> SinkError + '_ {
    move |source| SinkError::File { path: part.to_path_buf(), source }
}
