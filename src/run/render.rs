//! A song to a duty file.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;
use thiserror::Error;

use crate::analysis::{Arith, Knowing, SongFacts};
use crate::audio::fingerprint::Fingerprint;
use crate::audio::{SampleBlock, SoundError, SoundFormat, Source};
use crate::budget::Start;
use crate::engine::EngineError;
use crate::frame::pack::NoPacking;
use crate::frame::record::Inputs;
use crate::frame::{Hands, NodeMeter, Tail};
use crate::preset::{Display, Finding, Mapping, Names, Refusals};
use crate::run::ahead::Ahead;
use crate::run::ends::tail;
use crate::run::line::Line;
use crate::run::meter::Peaks;
use crate::run::pump::{Beside, Flow, PumpError, Pumped, pump};
use crate::shown::Shown as _;
use crate::sink::SinkError;
use crate::sink::file::DutyFile;
use crate::units::Rate;

pub use crate::run::ends::start_word;

/// What to render and how.
#[derive(Debug, Clone)]
pub struct RenderJob<'a> {
    /// Which music moves what.
    pub mapping: &'a Mapping,
    /// What there is to move.
    pub display: &'a Display,
    /// Frames per second.
    pub rate: Rate,
    /// Heat at the first frame.
    pub start: Start,
    /// Arithmetic of the spectra.
    pub arith: Arith,
}

/// What makes a render a live run made again.
#[derive(Debug, Clone, Copy)]
pub struct Again<'a> {
    /// Mappings that hands changed over to: numbers 1 and up.
    pub further: &'a [Mapping],
    /// What entered the run besides sound. It goes into the file too.
    pub inputs: &'a Inputs,
}

/// Why a song was not rendered to its end. What was made before is in `FILE.part`.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RenderError {
    /// Mapping and display do not fit each other or the song.
    #[error(transparent)]
    Refused(#[from] Refusals),
    /// The driver has more steps than any packing holds.
    #[error(transparent)]
    Packing(#[from] NoPacking),
    /// A stage refused its settings.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The duty file could not be made.
    #[error(transparent)]
    Sink(#[from] SinkError),
    /// A song of a list could not be opened when its turn came.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// What waits for its plan could not be kept.
    #[error(
        "keeping the song's frames until they are planned, in a temporary file in {}: {source}; set TMPDIR to a folder that is there, may be written to and has room, or add --no-plan", .folder.shown()
    )]
    Spool {
        /// Where the file is, or should be.
        folder: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Song or file failed on the way.
    #[error(transparent)]
    Pump(#[from] PumpError),
}

/// What came out of a render.
#[derive(Debug, Clone, Serialize)]
pub struct RenderReport {
    /// False when it was stopped before the end of the song.
    pub whole: bool,
    /// Sound heard, s.
    pub song_s: f64,
    /// DUTY packets written.
    pub frames: u32,
    /// Digest of the samples.
    pub sound_digest: String,
    /// How far each frame leads its sound, s.
    pub lead_s: f64,
    /// Temperature of the winding that came closest to its bound, C.
    pub peak_coil_c: f64,
    /// Its bound (the limit less the margin), C.
    pub peak_coil_bound_c: f64,
    /// The limit stated for it, C.
    pub peak_coil_limit_c: f64,
    /// Its number in display order, from 0.
    pub peak_coil: u32,
    /// What it is called: group and number in it, from 1.
    pub peak_coil_name: String,
    /// Temperature of the backing that came closest to its bound, C.
    pub peak_backing_c: f64,
    /// Its bound, C.
    pub peak_backing_bound_c: f64,
    /// The limit stated for it, C.
    pub peak_backing_limit_c: f64,
    /// Its coil's number, from 0.
    pub peak_backing: u32,
    /// What that coil is called.
    pub peak_backing_name: String,
    /// Mean over the song of all wishes added up, in coils.
    pub asked_coils: f64,
    /// Of all duty asked, the share granted, 0 to 1.
    pub granted_share: f64,
    /// Share taken by heat.
    pub cut_heat_share: f64,
    /// Share taken by the rails.
    pub cut_rail_share: f64,
    /// Share taken by the driver: wrong way for it, or finer than its steps.
    pub cut_driver_share: f64,
    /// What the maker should know about this mapping on this display.
    #[serde(skip)]
    pub warnings: Vec<Finding>,
    /// What the decoder had to say about the song.
    pub remarks: Vec<String>,
}

/// Renders `source` to the duty file `out`, its frames leading the sound as far as the display's
/// fluid follows late. `hook` is asked once per block, with the instants
/// heard so far, and may stop the render; then `FILE.part` keeps what was made.
///
/// # Errors
/// When mapping, display and song do not fit, when the song cannot be decoded further, or when
/// the file cannot be written. In the last two cases `FILE.part` holds every whole packet so far.
pub fn render(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    out: &Path,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<RenderReport, RenderError> {
    make(source, job, None, Some(&Knowing::Nothing), out, hook)
}

/// Renders as a live run would hear it: frames do not lead their sound, and nothing is known of the
/// song beforehand.
///
/// # Errors
/// As [`render`].
pub fn render_as_live(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    out: &Path,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<RenderReport, RenderError> {
    make(source, job, None, None, out, hook)
}

/// Renders a song that was heard before: `known` is what [`crate::analysis::ears::measure_song`]
/// said of the very same sound.
///
/// # Errors
/// As [`render`].
pub fn render_known(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    known: SongFacts,
    out: &Path,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<RenderReport, RenderError> {
    make(source, job, None, Some(&Knowing::Song(Arc::new(known))), out, hook)
}

/// Renders the sound that a live run heard, with its hands, from its start: the same file again.
/// `job.start` is for runs whose file does not say how they started.
///
/// # Errors
/// As [`render`].
pub fn render_again(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    again: Again<'_>,
    out: &Path,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<RenderReport, RenderError> {
    let start = again.inputs.start.as_ref().unwrap_or(&job.start).clone();
    make(source, &RenderJob { start, ..job.clone() }, Some(again), None, out, hook)
}

/// `ahead`: the sound is there before it is heard, and so much is known of it; `None`: as live.
fn make(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    again: Option<Again<'_>>,
    ahead: Option<&Knowing>,
    out: &Path,
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<RenderReport, RenderError> {
    let sound = source.format();
    let line = match ahead {
        Some(knowing) => Line::leading(job, sound, knowing)?,
        None => Line::new(job, again.map_or(&[], |again| again.further), sound)?,
    };
    let lead_s = f64::from(line.head.lead_us) * 1e-6;
    let Line { mut engine, mut metering, head, names, .. } = line;
    let mut file = DutyFile::create(out, &head)?;
    if again.is_some() {
        file.start(&job.start)?;
    }
    let hands = again.map_or(&[][..], |again| &again.inputs.hands);
    let mut beside = Replay { digest: Fingerprint::new(), hands, now: Hands::FREE, hook };
    let mut source = Ahead::of(source);
    let end = pump(&mut source, &mut engine, &mut file, &mut metering, &mut beside)?;
    let tail = tail(&engine, beside.digest.hex());
    if end == Pumped::Whole {
        file.finish(&tail)?;
    }
    Ok(report_of(&tail, end, sound, lead_s, metering.peaks(), &names, source.remarks()))
}

/// The report of a run with these ends.
pub(super) fn report_of(
    tail: &Tail,
    end: Pumped,
    sound: SoundFormat,
    lead_s: f64,
    peaks: Peaks,
    names: &Names,
    remarks: &[String],
) -> RenderReport {
    let report = report(tail, end, sound, (peaks.coil, peaks.backing));
    let name = |coil: u32| {
        let index = usize::try_from(coil).unwrap_or(usize::MAX);
        names.coils.get(index).map_or_else(String::new, |name| name.label.clone())
    };
    RenderReport {
        lead_s,
        peak_coil_name: name(report.peak_coil),
        peak_backing_name: name(report.peak_backing),
        warnings: names.warnings.clone(),
        remarks: remarks.to_vec(),
        ..report
    }
}

/// Hands as they were recorded, and the digest of the sound.
struct Replay<'a> {
    digest: Fingerprint,
    hands: &'a [(u32, Hands)],
    now: Hands,
    hook: &'a mut dyn FnMut(u64) -> Flow,
}

impl Beside for Replay<'_> {
    fn heard(&mut self, block: SampleBlock<'_>) {
        self.digest.update(block);
    }

    fn hands(&mut self, frame: u32) -> Hands {
        while let Some(((from, hands), later)) = self.hands.split_first() {
            if *from > frame {
                break;
            }
            self.now = *hands;
            self.hands = later;
        }
        self.now
    }

    fn go_on(&mut self, instants: u64) -> Flow {
        (self.hook)(instants)
    }
}

fn report(
    tail: &Tail,
    end: Pumped,
    sound: SoundFormat,
    (coil, backing): (NodeMeter, NodeMeter),
) -> RenderReport {
    let sum = |column: &[f64]| column.iter().sum::<f64>();
    let wished = sum(&tail.wished);
    let share = |column: &[f64]| if wished > 0.0 { sum(column) / wished } else { 0.0 };
    RenderReport {
        whole: end == Pumped::Whole,
        song_s: tail.sound_instants as f64 / f64::from(sound.rate_hz),
        frames: tail.frames,
        sound_digest: tail.sound_digest.clone(),
        lead_s: 0.0,
        peak_coil_c: f64::from(coil.now_c),
        peak_coil_bound_c: f64::from(coil.bound_c),
        peak_coil_limit_c: f64::from(coil.limit_c),
        peak_coil: coil.coil,
        peak_coil_name: String::new(),
        peak_backing_c: f64::from(backing.now_c),
        peak_backing_bound_c: f64::from(backing.bound_c),
        peak_backing_limit_c: f64::from(backing.limit_c),
        peak_backing: backing.coil,
        peak_backing_name: String::new(),
        asked_coils: wished / f64::from(tail.frames.max(1)),
        granted_share: if wished > 0.0 { share(&tail.granted) } else { 1.0 },
        cut_heat_share: share(&tail.cut_heat),
        cut_rail_share: share(&tail.cut_rail),
        cut_driver_share: share(&tail.cut_driver),
        warnings: Vec::new(),
        remarks: Vec::new(),
    }
}
