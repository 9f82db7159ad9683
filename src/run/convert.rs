//! A duty file to a table that other programs read.

use crate::shown::Shown as _;
use std::fmt;
use std::fs::File;
use std::io::{BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::frame::array::Array;
use crate::frame::meters::MeterTable;
use crate::frame::record::{Entry, ReadError, Reader};
use crate::frame::table::{Table, TableError};
use crate::frame::wave::{Shape, Wave};
use crate::frame::{RecordedCode, Values};
use crate::sink::SinkError;
use crate::sink::file::{OpenError, open};
use crate::sink::part::{Part, writes_over};
use crate::units::Rate;

/// A longer gap than this, s, is not filled: it is no lost piece, and would fill a disk.
const LONGEST_GAP_S: u32 = 3600;

/// Bytes gathered before they go to the disk.
const BUFFER: usize = 64 * 1024;

/// What the table shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// One row for each frame.
    Frames(Values),
    /// One row for each METER packet: temperatures, currents, levels, cuts.
    Meters,
}

impl What {
    /// The form that the end of the name `out` asks for.
    ///
    /// # Errors
    ///
    /// A name that says none, or one that does not hold this.
    pub fn form(self, out: &Path) -> Result<Form, ConvertError> {
        let form = Form::of(out).filter(|form| form.holds(self));
        form.ok_or_else(|| ConvertError::Form { out: out.to_path_buf(), what: self })
    }
}

/// How the table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Text: [`Table`] or [`MeterTable`].
    Csv,
    /// An [`Array`].
    Npy,
    /// A [`Wave`].
    Wav,
}

impl Form {
    /// The form that the end of a file name asks for.
    pub fn of(path: &Path) -> Option<Self> {
        let suffix = path.extension()?.to_str()?.to_ascii_lowercase();
        [Self::Csv, Self::Npy, Self::Wav].into_iter().find(|form| form.suffix() == suffix)
    }

    fn suffix(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Npy => "npy",
            Self::Wav => "wav",
        }
    }

    /// The forms there are for `what`, in words.
    fn list(what: What) -> &'static str {
        match what {
            What::Frames(Values::Duties) => ".csv, .npy or .wav",
            What::Frames(Values::Codes) => ".csv or .npy",
            What::Meters => ".csv",
        }
    }

    fn holds(self, what: What) -> bool {
        match what {
            What::Frames(Values::Duties) => true,
            What::Frames(Values::Codes) => self != Self::Wav,
            What::Meters => self == Self::Csv,
        }
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Frames(Values::Duties) => "duties",
            Self::Frames(Values::Codes) => "codes",
            Self::Meters => "meters",
        })
    }
}

/// Why there is no table. Nothing is left of it then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ConvertError {
    /// A name that says no form, or one that does not hold this.
    #[error("{}: {what} are written as {}: give a name that ends so", .out.shown(), Form::list(*.what))]
    Form {
        /// The name.
        out: PathBuf,
        /// What was to be written.
        what: What,
    },
    /// The table would be written over the duty file.
    #[error("{}: this would write over the duty file: give the table another name", .0.shown())]
    Same(PathBuf),
    /// A form that does not hold these frames.
    #[error("{}: {source}", .out.shown())]
    Shape {
        /// The table to be.
        out: PathBuf,
        /// Why.
        source: TableError,
    },
    /// The duty file cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The duty file cannot be read further.
    #[error("{}: {source}", .file.shown())]
    Read {
        /// The duty file.
        file: PathBuf,
        /// Why.
        source: ReadError,
    },
    /// More frames are missing than are filled.
    #[error(
        "{}: frames {first} to {last} are missing, more than an hour of them, which is too long a \
         gap to fill with zeros: convert to .csv, which leaves them out", .file.shown()
    )]
    Gap {
        /// The duty file.
        file: PathBuf,
        /// First of them.
        first: u64,
        /// Last of them.
        last: u64,
    },
    /// No file can be where the table was to be.
    #[error(transparent)]
    Place(#[from] SinkError),
    /// The table cannot be written.
    #[error("{}: {source}", .out.shown())]
    Write {
        /// The table.
        out: PathBuf,
        /// Why.
        source: TableError,
    },
}

impl ConvertError {
    /// True when what was asked for cannot be, false when something failed on the way.
    pub fn is_refusal(&self) -> bool {
        matches!(self, Self::Form { .. } | Self::Same(_) | Self::Shape { .. })
    }
}

/// What became of a duty file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Converted {
    /// Rows written.
    pub rows: u64,
    /// Frames that are missing from the duty file. CSV leaves them out, the other forms have rows
    /// of zeros for them: a lost frame counts as off.
    pub missing: u64,
    /// What is wrong with the duty file; of very much, the beginning, then how much more there is.
    pub remarks: Vec<String>,
}

/// Writes what the duty file `file` holds to the table `out`, in the form that the end of its name
/// asks for. A duty file that was cut or damaged gives what is there.
///
/// Takes the same memory however long the file is. Until it is whole, the table is called
/// `OUT.part`; when it cannot be made, that is removed.
///
/// # Errors
///
/// See [`ConvertError`].
pub fn convert(file: &Path, out: &Path, what: What) -> Result<Converted, ConvertError> {
    let form = what.form(out)?;
    if writes_over(out, file) {
        return Err(ConvertError::Same(out.to_path_buf()));
    }
    let mut reader = open(file)?;
    let shape = |source| ConvertError::Shape { out: out.to_path_buf(), source };
    let [num, den] = reader.head().rate;
    let rate = Rate::new(num, den).ok_or_else(|| shape(TableError::WaveRate { num, den }))?;
    if form == Form::Wav {
        Shape::of(rate, &reader.head().coils).map_err(shape)?;
    }
    let (part, target) = Part::create(out)?;
    let done = write(&mut reader, rate, (form, what), &target).and_then(|done| {
        part.settle(&target).map_err(TableError::from)?;
        Ok(done)
    });
    match done {
        Ok((rows, missing)) => Ok(Converted { rows, missing, remarks: remarks(&reader) }),
        Err(stop) => {
            part.discard();
            Err(stop.named(file, out))
        }
    }
}

fn remarks<R: Read>(reader: &Reader<R>) -> Vec<String> {
    let listed = reader.damage();
    let more = reader.damage_count() - listed.len() as u64;
    let more = (more > 0).then(|| format!("and {more} more places like these"));
    listed.iter().map(ToString::to_string).chain(more).collect()
}

/// Why the writing stopped, before anyone has said which files.
enum Stop {
    Read(ReadError),
    Table(TableError),
    Gap { first: u64, last: u64 },
}

impl From<TableError> for Stop {
    fn from(error: TableError) -> Self {
        Self::Table(error)
    }
}

impl Stop {
    fn named(self, file: &Path, out: &Path) -> ConvertError {
        let (file, out) = (file.to_path_buf(), out.to_path_buf());
        match self {
            Self::Read(source) => ConvertError::Read { file, source },
            Self::Table(source) => ConvertError::Write { out, source },
            Self::Gap { first, last } => ConvertError::Gap { file, first, last },
        }
    }
}

/// Rows and missing frames.
type Done = Result<(u64, u64), Stop>;

fn write(reader: &mut Reader<File>, rate: Rate, how: (Form, What), target: &File) -> Done {
    let target = BufWriter::with_capacity(BUFFER, target);
    let coils = reader.head().coils.clone();
    let no_names: &[&str] = &[];
    match how {
        (_, What::Meters) => meters(reader, MeterTable::new(target, rate, reader.head())?),
        (Form::Csv, What::Frames(values)) => {
            frames(reader, rate, Table::of(values, target, rate, &coils, no_names)?)
        }
        (Form::Npy, What::Frames(values)) => {
            frames(reader, rate, Array::new(target, values, &coils)?)
        }
        (Form::Wav, What::Frames(_)) => frames(reader, rate, Wave::new(target, rate, &coils)?),
    }
}

fn meters<R: Read, W: Write>(reader: &mut Reader<R>, mut table: MeterTable<W>) -> Done {
    let mut rows = 0;
    while let Some(entry) = reader.next_entry().map_err(Stop::Read)? {
        if let Entry::Meter(meter) = entry {
            table.meter(meter)?;
            rows += 1;
        }
    }
    table.finish()?;
    Ok((rows, 0))
}

/// A table of frames in the making.
trait Rows {
    /// True when row k is frame k, so that a frame that is missing needs a row.
    const COUNTED: bool;
    fn frame(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), TableError>;
    fn missing(&mut self) -> Result<(), TableError>;
    fn end(self) -> Result<(), TableError>;
}

fn frames<R: Read>(reader: &mut Reader<R>, rate: Rate, mut rows: impl Rows) -> Done {
    let mut place = Place { longest_gap: frames_in(LONGEST_GAP_S, rate), ..Place::default() };
    while let Some(entry) = reader.next_entry().map_err(Stop::Read)? {
        match entry {
            Entry::Duty { frame, codes } => {
                place.reach(frame, &mut rows)?;
                rows.frame(frame, codes)?;
                place.next += 1;
                place.rows += 1;
            }
            // Frames lost just before the end.
            Entry::Off { frame } => place.reach(frame, &mut rows)?,
            _ => {}
        }
    }
    rows.end()?;
    Ok((place.rows, place.missing))
}

/// How far a table has come.
#[derive(Default)]
struct Place {
    /// Frame that should come next.
    next: u64,
    rows: u64,
    missing: u64,
    longest_gap: u64,
}

impl Place {
    /// Goes on to `frame` over whatever is missing before it.
    fn reach<T: Rows>(&mut self, frame: u32, rows: &mut T) -> Result<(), Stop> {
        let first = self.next;
        let gap = u64::from(frame).saturating_sub(first);
        self.next += gap;
        self.missing += gap;
        if !T::COUNTED {
            return Ok(());
        }
        if gap > self.longest_gap {
            return Err(Stop::Gap { first, last: first + gap - 1 });
        }
        for _ in 0..gap {
            rows.missing()?;
        }
        self.rows += gap;
        Ok(())
    }
}

fn frames_in(seconds: u32, rate: Rate) -> u64 {
    let (num, den) = rate.ratio();
    u64::from(num) * u64::from(seconds) / u64::from(den)
}

impl<W: Write> Rows for Table<W> {
    const COUNTED: bool = false;
    fn frame(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), TableError> {
        self.recorded(number, codes)
    }
    fn missing(&mut self) -> Result<(), TableError> {
        Ok(())
    }
    fn end(self) -> Result<(), TableError> {
        self.finish().map(drop)
    }
}

impl<W: Write + Seek> Rows for Array<W> {
    const COUNTED: bool = true;
    fn frame(&mut self, _: u32, codes: &[RecordedCode]) -> Result<(), TableError> {
        self.recorded(codes)
    }
    fn missing(&mut self) -> Result<(), TableError> {
        self.off()
    }
    fn end(self) -> Result<(), TableError> {
        self.finish().map(drop)
    }
}

impl<W: Write + Seek> Rows for Wave<W> {
    const COUNTED: bool = true;
    fn frame(&mut self, _: u32, codes: &[RecordedCode]) -> Result<(), TableError> {
        self.recorded(codes)
    }
    fn missing(&mut self) -> Result<(), TableError> {
        self.off()
    }
    fn end(self) -> Result<(), TableError> {
        self.finish()
    }
}
