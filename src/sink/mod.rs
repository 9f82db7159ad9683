//! Where frames go: the last door, behind the budget.
//!
//! A [`Sink`] takes permitted duties by frame number. [`mod@file`] keeps them in a duty file,
//! [`memory`] in lists, [`mod@board`] sends them to driver boards; [`part`] is how any file gets its name only when it is whole; a [`Writer`] over anything that takes bytes and a [`Table`] are sinks too.

pub mod board;
pub mod file;
pub mod memory;
pub mod part;

use crate::shown::Shown as _;
use std::io::Write;
use std::path::PathBuf;

use thiserror::Error;

use crate::budget::Duty;
use crate::frame::record::{WriteError, Writer};
use crate::frame::table::{Table, TableError};
use crate::frame::{Hands, Meter};

/// Takes frames.
///
/// Whoever feeds one calls [`off`](Self::off) on every way out, after whatever came before and
/// even when that failed.
pub trait Sink {
    /// One frame: one duty for each coil in display order. Numbers grow.
    ///
    /// # Errors
    ///
    /// When the frame did not get through.
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError>;

    /// What a stretch of frames did, for sinks that keep it.
    ///
    /// # Errors
    ///
    /// When a sink that keeps it could not.
    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        let _ = meter;
        Ok(())
    }

    /// What hands have set, in force from frame `number` on, for sinks that keep it.
    ///
    /// # Errors
    ///
    /// When a sink that keeps it could not.
    fn hands(&mut self, number: u32, hands: Hands) -> Result<(), SinkError> {
        let _ = (number, hands);
        Ok(())
    }

    /// All coils off, from frame `number` on.
    ///
    /// # Errors
    ///
    /// When this did not get through.
    fn off(&mut self, number: u32) -> Result<(), SinkError>;
}

/// Why a sink did not take something.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SinkError {
    /// A stream of packets.
    #[error(transparent)]
    Packets(#[from] WriteError),
    /// A table.
    #[error(transparent)]
    Table(#[from] TableError),
    /// A duty file while it is written.
    #[error("{}: {source}{}", .path.shown(), cure(.source))]
    File {
        /// The file on disk, `.part` and all.
        path: PathBuf,
        /// Why.
        source: WriteError,
    },
    /// A place where no file can be.
    #[error("cannot write {}: {why}", .path.shown())]
    Place {
        /// Where the file was to be.
        path: PathBuf,
        /// Why not, and what to do.
        why: String,
    },
}

/// What to do about a file that cannot be written on.
fn cure(error: &WriteError) -> &'static str {
    use std::io::ErrorKind::{QuotaExceeded, StorageFull};
    match error {
        WriteError::Io(io) if matches!(io.kind(), StorageFull | QuotaExceeded) => {
            "; make room or choose another disk; what was written so far is kept and plays"
        }
        _ => "",
    }
}

impl<W: Write> Sink for Writer<W> {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        Ok(Writer::duty(self, number, duties)?)
    }

    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        Ok(Writer::meter(self, meter)?)
    }

    fn hands(&mut self, number: u32, hands: Hands) -> Result<(), SinkError> {
        Ok(Writer::hands(self, number, hands)?)
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        Ok(Writer::off(self, number)?)
    }
}

impl<W: Write> Sink for Table<W> {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        Ok(Table::duty(self, number, duties)?)
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        Ok(Table::off(self, number)?)
    }
}
