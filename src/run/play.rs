//! A duty file to a sink, in time, by way of the budget of the display that is there now.
//!
//! What a file holds is a record of what another evening permitted, perhaps on another display. So
//! every code becomes a wish again, and what leaves is what the budget grants now.

use crate::shown::Shown as _;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::pump::Flow;
use crate::budget::{Budget, BudgetError, BudgetSettings, Duty};
use crate::frame::record::{Entry, ReadError, Reader};
use crate::frame::{Head, RecordedCode};
use crate::preset::Display;
use crate::sink::file::{OpenError, open};
use crate::sink::{Sink, SinkError};
use crate::units::{Rate, Share};

/// A longer gap than this, s, is no lost piece: nobody waits for its end.
const LONGEST_GAP_S: f64 = 3600.0;

/// Why a file is not played, or not to its end. Once it had begun, OFF has been sent.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PlayError {
    /// It cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// Made for another number of coils.
    #[error(
        "{}: made for {file_coils} coils (\"{made_for}\"), and display \"{display}\" has {coils}: \
         render the song for this display", .file.shown()
    )]
    Coils {
        /// The file.
        file: PathBuf,
        /// Display that it names.
        made_for: String,
        /// Its coils.
        file_coils: usize,
        /// Display that is there.
        display: String,
        /// Its coils.
        coils: usize,
    },
    /// A frame rate that is none.
    #[error("{}: its frame rate, {num}/{den}, is not 1 to 1000 a second", .file.shown())]
    Rate {
        /// The file.
        file: PathBuf,
        /// Numerator.
        num: u32,
        /// Denominator.
        den: u32,
    },
    /// The display's limits make no sense.
    #[error(transparent)]
    Budget(#[from] BudgetError),
    /// It cannot be read further.
    #[error("{}: {source}", .file.shown())]
    Read {
        /// The file.
        file: PathBuf,
        /// Why.
        source: ReadError,
    },
    /// Too much is missing.
    #[error(
        "{}: frames {first} to {last} are missing, more than an hour of them: all off", .file.shown()
    )]
    Gap {
        /// The file.
        file: PathBuf,
        /// First of them.
        first: u64,
        /// Last of them.
        last: u64,
    },
    /// The sink failed.
    #[error(transparent)]
    Sink(#[from] SinkError),
}

/// A duty file, ready to be played on a display.
#[derive(Debug)]
pub struct Recording {
    path: PathBuf,
    reader: Reader<File>,
    rate: Rate,
    /// Per coil: one over its steps in the file.
    per_step: Vec<f64>,
    same_display: bool,
}

impl Recording {
    /// Opens `path`, whole or `.part`.
    ///
    /// # Errors
    ///
    /// When it is no duty file, or not one for so many coils.
    pub fn open(path: &Path, display: &Display) -> Result<Self, PlayError> {
        let reader = open(path)?;
        let file = path.to_path_buf();
        let head = reader.head();
        let [num, den] = head.rate;
        let rate = Rate::new(num, den);
        let rate = rate.ok_or_else(|| PlayError::Rate { file: file.clone(), num, den })?;
        let per_step: Vec<f64> = per_step(head).collect();
        if per_step.len() != display.coil_count() {
            return Err(PlayError::Coils {
                file,
                made_for: head.display.clone(),
                file_coils: per_step.len(),
                display: display.name.clone(),
                coils: display.coil_count(),
            });
        }
        let same_display = head.display_digest == display.digest_hex();
        Ok(Self { path: file, reader, rate, per_step, same_display })
    }

    /// Frames per second.
    pub fn rate(&self) -> Rate {
        self.rate
    }

    /// Its head.
    pub fn head(&self) -> &Head {
        self.reader.head()
    }

    /// Whether it was made for exactly this display.
    pub fn same_display(&self) -> bool {
        self.same_display
    }
}

fn per_step(head: &Head) -> impl Iterator<Item = f64> + '_ {
    head.coils.iter().flat_map(|run| {
        let count = usize::try_from(run.count).unwrap_or(usize::MAX);
        std::iter::repeat_n(f64::from(run.steps), count)
    })
}

/// Whoever keeps time while a file is played.
pub trait Beat {
    /// Comes back once so many seconds have passed since the first frame; a break ends it all.
    fn wait(&mut self, time_s: f64) -> Flow;

    /// After every frame, sent or missing: what it did. A break ends it all.
    fn stepped(&mut self, time_s: f64, budget: &Budget) -> Flow;
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Played {
    /// False when it was stopped.
    pub whole: bool,
    /// Frames handed to the sink.
    pub frames: u64,
    /// Frames that are missing from the file: coils were off there.
    pub missing: u64,
    /// Of all duty in the file, the shares that were granted, and taken by heat, rails and driver.
    pub shares: [f64; 4],
    /// What is wrong with the file.
    pub remarks: Vec<String>,
}

/// Sends OFF when it is dropped, whatever the reason.
struct UntilOff<'a> {
    sink: &'a mut dyn Sink,
    next: u32,
    sent: bool,
}

impl UntilOff<'_> {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        self.next = number.saturating_add(1);
        self.sent = false;
        self.sink.duty(number, duties)
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.sent = true;
        self.sink.off(number.max(self.next))
    }
}

impl Drop for UntilOff<'_> {
    fn drop(&mut self) {
        if !self.sent {
            // Whoever dropped us has an error to report already.
            let _ = self.off(self.next);
        }
    }
}

/// Plays `recording` into `sink`, on a display with these limits. Settings are those of
/// `preset::prepare_display` at the recording's rate.
///
/// # Errors
///
/// See [`PlayError`]. OFF is sent in every case.
pub fn play(
    recording: &mut Recording,
    settings: &BudgetSettings,
    sink: &mut dyn Sink,
    beat: &mut dyn Beat,
) -> Result<Played, PlayError> {
    let mut stage = Stage {
        budget: Budget::new(settings)?,
        rate: recording.rate,
        wishes: vec![Share::NONE; recording.per_step.len()],
        out: UntilOff { sink, next: 0, sent: false },
        beat,
        next: 0,
        played: Played::default(),
    };
    let (end, file) = (run(recording, &mut stage), &recording.path);
    stage.budget.settle();
    stage.played.shares = shares(&stage.budget);
    stage.played.remarks = remarks(&recording.reader);
    match end {
        Ok(whole) => Ok(Played { whole, ..stage.played }),
        Err(Stop::Gap { first, last }) => Err(PlayError::Gap { file: file.clone(), first, last }),
        Err(Stop::Read(source)) => Err(PlayError::Read { file: file.clone(), source }),
        Err(Stop::Sink(error)) => Err(error.into()),
    }
}

/// Why the loop ended early.
enum Stop {
    Gap { first: u64, last: u64 },
    Read(ReadError),
    Sink(SinkError),
}

impl From<SinkError> for Stop {
    fn from(error: SinkError) -> Self {
        Self::Sink(error)
    }
}

/// Everything but the file.
struct Stage<'a> {
    budget: Budget,
    rate: Rate,
    wishes: Vec<Share>,
    out: UntilOff<'a>,
    beat: &'a mut dyn Beat,
    /// Frame that should come next.
    next: u64,
    played: Played,
}

/// True when the file came to its end.
fn run(recording: &mut Recording, stage: &mut Stage<'_>) -> Result<bool, Stop> {
    let Recording { reader, per_step, .. } = recording;
    while let Some(entry) = reader.next_entry().map_err(Stop::Read)? {
        let flow = match entry {
            Entry::Duty { frame, codes } => stage.frame(frame, codes, per_step)?,
            Entry::Off { frame } => stage.off(frame)?,
            Entry::Meter(_) | Entry::Tail(_) => Flow::Continue(()),
        };
        if flow.is_break() {
            stage.out.off(stage.out.next)?;
            return Ok(false);
        }
    }
    if !stage.out.sent {
        // A file that was cut short: off once its last frame is over.
        let flow = stage.beat.wait(stage.rate.time_of(stage.next).0);
        stage.out.off(stage.out.next)?;
        return Ok(flow.is_continue());
    }
    Ok(true)
}

impl Stage<'_> {
    fn frame(
        &mut self,
        number: u32,
        codes: &[RecordedCode],
        per_step: &[f64],
    ) -> Result<Flow, Stop> {
        if self.reach(number)?.is_break() {
            return Ok(Flow::Break(()));
        }
        let shares = codes.iter().zip(per_step).map(|(code, steps)| f64::from(code.0) / steps);
        for (wish, share) in self.wishes.iter_mut().zip(shares) {
            *wish = Share::saturating(share);
        }
        let time_s = self.rate.time_of(u64::from(number)).0;
        if self.beat.wait(time_s).is_break() {
            return Ok(Flow::Break(()));
        }
        let duties = self.budget.permit(&self.wishes);
        self.out.duty(number, duties)?;
        self.next = u64::from(number) + 1;
        self.played.frames += 1;
        Ok(self.beat.stepped(time_s, &self.budget))
    }

    fn off(&mut self, number: u32) -> Result<Flow, Stop> {
        if self.reach(number)?.is_break() {
            return Ok(Flow::Break(()));
        }
        let flow = self.beat.wait(self.rate.time_of(self.next).0);
        self.out.off(number)?;
        Ok(flow)
    }

    /// Goes on to frame `number` over frames that are missing. Nobody knows what they held, so
    /// nothing is wished: frames with all coils off are sent in their places, and boards do not hold
    /// what was before.
    fn reach(&mut self, number: u32) -> Result<Flow, Stop> {
        let first = self.next;
        let gap = u64::from(number).saturating_sub(first);
        if gap as f64 * self.rate.period().0 > LONGEST_GAP_S {
            return Err(Stop::Gap { first, last: first + gap - 1 });
        }
        for missing in first..first + gap {
            let time_s = self.rate.time_of(missing).0;
            if self.beat.wait(time_s).is_break() {
                return Ok(Flow::Break(()));
            }
            let duties = self.budget.permit(&[]);
            // The range of frame numbers was checked with the last of them.
            self.out.duty(u32::try_from(missing).unwrap_or(number), duties)?;
            self.next = missing + 1;
            self.played.missing += 1;
            if self.beat.stepped(time_s, &self.budget).is_break() {
                return Ok(Flow::Break(()));
            }
        }
        Ok(Flow::Continue(()))
    }
}

fn shares(budget: &Budget) -> [f64; 4] {
    let totals = budget.totals();
    let sum = |column: &[f64]| column.iter().sum::<f64>();
    let wished = sum(totals.wished);
    if wished <= 0.0 {
        return [1.0, 0.0, 0.0, 0.0];
    }
    [totals.granted, totals.cut_heat, totals.cut_rail, totals.cut_driver]
        .map(|column| sum(column) / wished)
}

fn remarks<R: Read>(reader: &Reader<R>) -> Vec<String> {
    let listed = reader.damage();
    let more = reader.damage_count() - listed.len() as u64;
    let more = (more > 0).then(|| format!("and {more} more places like these"));
    listed.iter().map(ToString::to_string).chain(more).collect()
}
