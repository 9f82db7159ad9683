//! A song to a duty file.

use std::path::Path;

use serde::Serialize;
use thiserror::Error;

use crate::analysis::Arith;
use crate::audio::fingerprint::Fingerprint;
use crate::audio::{SoundFormat, Source};
use crate::budget::Start;
use crate::engine::{Engine, EngineError, Prepared};
use crate::frame::pack::NoPacking;
use crate::frame::{BandHead, Head, NodeMeter, Packing, Tail};
use crate::preset::{Display, Finding, Mapping, Refusals, channel_word, prepare};
use crate::run::ahead::Ahead;
use crate::run::meter::Metering;
use crate::run::pump::{Flow, PumpError, Pumped, pump};
use crate::sink::SinkError;
use crate::sink::file::DutyFile;
use crate::units::Rate;

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

/// Renders `source` to the duty file `out`. `hook` is asked once per block, with the instants
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
    let sound = source.format();
    let (prepared, names) =
        prepare(job.mapping, job.display, sound, job.rate, job.start.clone(), job.arith)?;
    let mut engine = Engine::new(&prepared)?;
    let mut file = DutyFile::create(out, &head(job, &engine, &prepared)?)?;
    let mut metering = Metering::new(&prepared.budget, prepared.analysis.bands.len());
    let mut digest = Fingerprint::new();
    let mut source = Ahead::of(source);
    let end = pump(
        &mut source,
        &mut engine,
        &mut file,
        &mut metering,
        &mut |block| digest.update(block),
        hook,
    )?;
    let tail = tail(&engine, digest.hex());
    if end == Pumped::Whole {
        file.finish(&tail)?;
    }
    let peaks = metering.peaks();
    let report = report(&tail, end, sound, (peaks.coil, peaks.backing));
    let name = |coil: u32| {
        let index = usize::try_from(coil).unwrap_or(usize::MAX);
        names.coils.get(index).map_or_else(String::new, |name| name.label.clone())
    };
    Ok(RenderReport {
        peak_coil_name: name(report.peak_coil),
        peak_backing_name: name(report.peak_backing),
        warnings: names.warnings.clone(),
        remarks: source.remarks().to_vec(),
        ..report
    })
}

fn head(job: &RenderJob<'_>, engine: &Engine, prepared: &Prepared) -> Result<Head, RenderError> {
    let (num, den) = job.rate.ratio();
    let coils = job.display.coil_runs();
    Ok(Head {
        version: crate::frame::record::FORMAT,
        rate: [num, den],
        lead_us: 0,
        arith: match job.arith {
            Arith::Native => "native".into(),
            Arith::Portable => "portable".into(),
        },
        packing: Packing::narrowest(&coils)?,
        coils,
        display: job.display.name.clone(),
        mapping: job.mapping.name.clone(),
        display_digest: job.display.digest_hex(),
        mapping_digest: job.mapping.digest_hex(),
        sound_rate_hz: prepared.analysis.sound.rate_hz,
        sound_channels: prepared.analysis.sound.channels,
        room_c: prepared.budget.room.0,
        start: start_word(&job.start).into(),
        bands: bands(engine),
        rails: job.display.rail_heads(),
    })
}

fn bands(engine: &Engine) -> Vec<BandHead> {
    let bands = engine.analysis().bands().iter();
    let head = |band: &crate::analysis::BandInfo| BandHead {
        low_hz: band.request.low_hz.0,
        high_hz: band.request.high_hz.0,
        channel: channel_word(band.request.channel).into(),
        weighting: band.request.weighting.word().into(),
        delay_s: band.delay_s.0,
    };
    bands.map(head).collect()
}

/// The word for a start in heads and reports.
pub fn start_word(start: &Start) -> &'static str {
    match start {
        Start::Cold => "cold",
        Start::Warm => "warm",
        Start::Unknown => "unknown",
        Start::Nodes(_) => "nodes",
    }
}

fn tail(engine: &Engine, sound_digest: String) -> Tail {
    let totals = engine.budget().totals();
    Tail {
        frames: engine.next_frame(),
        sound_instants: engine.instants(),
        sound_digest,
        wished: totals.wished.to_vec(),
        granted: totals.granted.to_vec(),
        cut_heat: totals.cut_heat.to_vec(),
        cut_rail: totals.cut_rail.to_vec(),
        cut_driver: totals.cut_driver.to_vec(),
        node_c: engine.budget().load().node_c.to_vec(),
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
