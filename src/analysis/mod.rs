//! Samples to levels: how loud each band is at each frame, and whether anything is playing.
//!
//! [`Analysis`] takes samples as they come and is asked for a measurement at each frame edge. It
//! holds the last 128 ms of the sound at up to three rates; a band is read at the lowest rate that
//! holds it, through the shortest window that can tell it apart.
//!
//! ```text
//! samples -> inlet -> ladder (decimate) -> spectrum (window) -> bands -> levels
//!                  `-> meter ------------------------------------------> level: quiet? how loud?
//! ```
//!
//! [`scale`] holds the band scales (octave, third-octave, Bark, ERB, mel), [`Weighting`] what each
//! frequency counts; [`plan_band`] says beforehand how a band will be measured and what that costs,
//! [`widen_band`] what could be heard in place of one that is too narrow.

mod bands;
mod decimate;
pub mod ears;
mod error;
mod inlet;
mod ladder;
mod level;
mod looks;
mod meter;
pub mod onset;
pub mod scale;
mod spectrum;
mod tally;
pub mod tempo;
mod weighting;
pub mod window;

pub use bands::{BandRefusal, plan_band, widen_band};
pub use ears::{EarRequest, Knowing, Sense, SongFacts};
pub use error::AnalysisError;
pub use weighting::Weighting;

use crate::audio::{RATE_LIMITS_HZ, SampleBlock};
use crate::units::{Hertz, Rate, Seconds};
use ears::Ears;
use inlet::Layout;
use ladder::{Ladder, Rates};
use level::{Follower, QuietGate};
use looks::Looks;
use serde::Serialize;
use spectrum::{Planner, Spectrum};
use std::fmt;
use tally::Tally;

/// Part of the sound a band listens to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Mean power over all channels. A full-scale sine in every channel reads 0 dBFS.
    All,
    /// First channel.
    Left,
    /// Second channel; the only one of a mono sound.
    Right,
    /// Half the sum of the first two.
    Mid,
    /// Half the difference of the first two; silent for mono.
    Side,
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::All => "all",
            Self::Left => "left",
            Self::Right => "right",
            Self::Mid => "mid",
            Self::Side => "side",
        })
    }
}

/// A band to be measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandRequest {
    /// Lower edge.
    pub low_hz: Hertz,
    /// Upper edge, above the lower.
    pub high_hz: Hertz,
    /// What it listens to.
    pub channel: Channel,
    /// What each frequency counts.
    pub weighting: Weighting,
}

/// Which arithmetic the spectra use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Arith {
    /// The fastest transform this processor has: same bytes on the same class of processor.
    #[default]
    Native,
    /// The scalar transform: same bytes on every processor.
    Portable,
}

/// Everything [`Analysis`] must know, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysisSettings {
    /// The sound to come.
    pub sound: crate::audio::SoundFormat,
    /// How often it is measured.
    pub frame_rate: Rate,
    /// Bands in the order in which levels are reported.
    pub bands: Vec<BandRequest>,
    /// What is to be heard besides, in the order in which it is reported.
    pub ears: Vec<EarRequest>,
    /// What is known of the sound beforehand; it changes only what ears hear.
    pub knowing: Knowing,
    /// Level below which the sound counts as quiet, in dBFS; `None` follows the noise floor.
    pub quiet_dbfs: Option<f64>,
    /// Arithmetic.
    pub arith: Arith,
}

/// How one band is measured: the price of telling it apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandInfo {
    /// As asked.
    pub request: BandRequest,
    /// Rate at which the band is read, Hz. A weighted band over many octaves is read in pieces:
    /// this, the window and the delay are those of the lowest.
    pub level_rate_hz: f64,
    /// Window length.
    pub window_s: Seconds,
    /// From a click in the sound to -10 dB of the band's own peak.
    pub delay_s: Seconds,
    /// How much a steady sine in the middle of the band may read too low, dB; 0 for bands wide
    /// enough for their window (there it is no more than about 0.1 dB).
    pub level_error_db: f64,
    /// Share of the band that lies above the sound's upper limit and is silent, 0 to 1.
    pub beyond_sound: f64,
}

/// One measurement. Borrowed from [`Analysis`]; slices are in band order.
#[derive(Debug, Clone, Copy)]
pub struct Heard<'a> {
    /// Level per band, dBFS (a full-scale sine reads 0); at least [`SILENCE_DBFS`].
    pub band_dbfs: &'a [f32],
    /// What counts as loud in each band just now: the slowly followed top of its range, dBFS.
    pub top_dbfs: &'a [f32],
    /// What each ear heard.
    pub senses: &'a [Sense],
    /// Level of the whole sound, dBFS.
    pub overall_dbfs: f32,
    /// True after 1.5 s below the quiet level: nothing plays that should stir the fluid.
    pub quiet: bool,
}

/// The level of digital silence.
pub const SILENCE_DBFS: f32 = -120.0;

/// Most channels a sound may have.
pub const MOST_CHANNELS: u16 = crate::audio::CHANNEL_LIMITS.1;

/// Samples in, levels out. All memory is taken in [`Analysis::new`].
pub struct Analysis {
    counted: f64,
    ladders: Vec<Ladder>,
    spectra: Vec<Spectrum>,
    looks: Looks,
    /// Highest power of each band since the last measurement.
    powers: Vec<f64>,
    /// Those of a band add up; none for bands wholly above the sound.
    readings: Vec<Vec<Reading>>,
    infos: Vec<BandInfo>,
    ears: Ears,
    gate: QuietGate,
    follower: Follower,
    tops: Vec<f64>,
    band_dbfs: Vec<f32>,
    top_dbfs: Vec<f32>,
}

/// Where one band's level is read, or a part of it.
struct Reading {
    spectrum: usize,
    part: usize,
    tally: Tally,
}

impl Analysis {
    /// # Errors
    /// When the sound or a band is outside what can be measured.
    pub fn new(settings: &AnalysisSettings) -> Result<Self, AnalysisError> {
        check(settings)?;
        let sound = settings.sound;
        let (rates, layout) = (Rates::new(sound.rate_hz), Layout::new(sound.channels));
        let mut planner = Planner::new(settings.arith);
        let (mut spectra, mut infos) = (Vec::<Spectrum>::new(), Vec::new());
        let mut readings = Vec::new();
        let bright = settings.ears.contains(&EarRequest::Brightness);
        let hidden = bright.then(ears::bright_requests).into_iter().flatten();
        let asked = settings.bands.iter().copied().chain(hidden);
        for (index, request) in asked.enumerate() {
            let request = &request;
            let placed = bands::place(rates, request).map_err(|refusal| AnalysisError::Band {
                number: index + 1,
                channel: request.channel,
                refusal,
            })?;
            infos.push(placed.info);
            let mut here = Vec::new();
            for piece in &placed.pieces {
                let known = spectra.iter().position(|spectrum| spectrum.view == piece.view);
                let number = known.unwrap_or(spectra.len());
                if known.is_none() {
                    spectra.push(Spectrum::new(&mut planner, piece.view, rates, layout));
                }
                let spectrum = spectra.get_mut(number);
                here.extend(spectrum.and_then(|s| s.reading(number, rates, piece, request)));
            }
            readings.push(here);
        }
        let keeps = keeps(&spectra);
        let ladder = |pair| Ladder::new(rates, layout, pair, &keeps);
        let dt_s = settings.frame_rate.period().0;
        let measured = infos.len();
        let count = settings.bands.len();
        infos.truncate(count);
        let AnalysisSettings { sound, frame_rate, .. } = *settings;
        let ears = Ears::new(sound, frame_rate, &settings.ears, &settings.knowing, settings.arith)?;
        Ok(Self {
            counted: layout.counted() as f64,
            ladders: (0..layout.pairs()).map(ladder).collect(),
            spectra,
            looks: Looks::new(sound.rate_hz, settings.frame_rate),
            powers: vec![0.0; measured],
            readings,
            infos,
            ears,
            gate: QuietGate::new(settings.quiet_dbfs, dt_s),
            follower: Follower::new(dt_s),
            tops: vec![Follower::start(); count],
            band_dbfs: vec![SILENCE_DBFS; count],
            top_dbfs: vec![0.0; count],
        })
    }

    /// Takes sound in. Cut it at frame edges, so that [`Analysis::measure`] sees each frame's
    /// samples and no more; how it is cut between them changes nothing.
    ///
    /// A block with another number of channels than agreed is heard as far as channels go: missing
    /// ones are silent, those too many are not heard.
    pub fn push(&mut self, mut block: SampleBlock<'_>) {
        while let Some(first) = self.looks.next_within(block.instants()) {
            let (head, tail) = block.split_at(first);
            self.take(head);
            self.look();
            block = tail;
        }
        self.take(block);
    }

    /// Measures what was pushed so far; to be called once a frame, from frame 0 on (before any
    /// sample: silence).
    pub fn measure(&mut self) -> Heard<'_> {
        self.look();
        let overall = dbfs(2.0 * self.mean_square());
        let quiet = self.gate.step(overall);
        if !quiet {
            self.follower.heard();
        }
        let levels = self.band_dbfs.iter_mut().zip(&mut self.tops).zip(&mut self.top_dbfs);
        for (power, ((level, top), top_out)) in self.powers.iter_mut().zip(levels) {
            let now = dbfs(*power);
            *power = 0.0;
            if !quiet {
                *top = self.follower.step(*top, now);
            }
            *level = single(now);
            *top_out = single(*top);
        }
        let hidden = self.powers.get_mut(self.tops.len()..).unwrap_or_default();
        let senses = self.ears.measure(hidden, quiet);
        hidden.fill(0.0);
        Heard {
            band_dbfs: &self.band_dbfs,
            top_dbfs: &self.top_dbfs,
            senses,
            overall_dbfs: single(overall),
            quiet,
        }
    }

    fn take(&mut self, block: SampleBlock<'_>) {
        self.ears.push(block);
        for ladder in &mut self.ladders {
            ladder.push(block);
        }
    }

    /// Takes the powers that the bands have now.
    fn look(&mut self) {
        for spectrum in &mut self.spectra {
            spectrum.update(&self.ladders);
        }
        for (highest, readings) in self.powers.iter_mut().zip(&self.readings) {
            let power = |reading: &Reading| {
                let spectrum = self.spectra.get(reading.spectrum);
                spectrum.map_or(0.0, |spectrum| spectrum.power(reading.part, &reading.tally))
            };
            *highest = highest.max(readings.iter().map(power).sum());
        }
    }

    /// How each band is measured, in the order in which they were asked for.
    pub fn bands(&self) -> &[BandInfo] {
        &self.infos
    }

    /// Mean over all channels.
    fn mean_square(&self) -> f64 {
        self.ladders.iter().map(Ladder::mean_square).sum::<f64>() / self.counted
    }
}

fn check(settings: &AnalysisSettings) -> Result<(), AnalysisError> {
    check_sound(settings.sound)?;
    match settings.quiet_dbfs {
        Some(dbfs) if !(f64::from(SILENCE_DBFS)..=0.0).contains(&dbfs) => {
            Err(AnalysisError::QuietLevel { dbfs })
        }
        _ => Ok(()),
    }
}

fn check_sound(sound: crate::audio::SoundFormat) -> Result<(), AnalysisError> {
    let (rate_hz, channels) = (sound.rate_hz, sound.channels);
    if !(RATE_LIMITS_HZ.0..=RATE_LIMITS_HZ.1).contains(&rate_hz) {
        return Err(AnalysisError::SoundRate { rate_hz });
    }
    if !(1..=MOST_CHANNELS).contains(&channels) {
        return Err(AnalysisError::SoundChannels { channels });
    }
    Ok(())
}

/// How much each rate of the ladder, from the base down, has to hold: its longest window.
fn keeps(spectra: &[Spectrum]) -> Vec<usize> {
    let deepest = spectra.iter().map(Spectrum::divisions).max();
    let longest = |divisions| {
        let here = spectra.iter().filter(|spectrum| spectrum.divisions() == divisions);
        here.map(Spectrum::window_len).max().unwrap_or(0)
    };
    deepest.map_or_else(Vec::new, |deepest| (0..=deepest).map(longest).collect())
}

/// Level of a power relative to that of a full-scale sine (AES17: that reads 0 dBFS).
fn dbfs(power: f64) -> f64 {
    (10.0 * libm::log10(power)).max(f64::from(SILENCE_DBFS))
}

#[expect(clippy::cast_possible_truncation, reason = "levels are handed on in single precision")]
fn single(level: f64) -> f32 {
    level as f32
}
