//! Loudness by ITU-R BS.1770 (K-weighting, gated), through the crate `ebur128`.
//!
//! Momentary and short-term values are taken ten times a second, as EBU Tech 3341 asks of meters at
//! least. What is usual in the music is the song's integrated loudness where it is known. Where it
//! is not, the short-term loudness is followed: 20 s time constant while it lies above or up to
//! 10 LU below what is usual so far, 120 s while it lies lower (BS.1770 does not count such passages
//! at all, and would never come down to a softer song).

use super::{AnalysisError, Knowing};
use crate::analysis::onset::{Event, Hearing, Onsets};
use crate::analysis::{Arith, SongFacts};
use crate::audio::{SampleBlock, SoundError, SoundFormat, Source};
use ebur128::{EbuR128, Mode};
use thiserror::Error;

/// The gate of BS.1770: silence.
pub(super) const SILENCE_LUFS: f32 = -70.0;
/// What is usual before anything was heard: the target level of EBU R 128.
pub(super) const START_LUFS: f32 = -23.0;

/// Time between two values, in parts of a second.
const VALUES_PER_S: u32 = 10;
const FOLLOW_S: f64 = 20.0;
const FOLLOW_LOW_S: f64 = 120.0;
/// Relative gate of BS.1770, LU.
const GATE_LU: f64 = 10.0;

/// Loudness of a whole song.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loudness {
    /// Integrated, LUFS; -70 for silence.
    pub integrated_lufs: f64,
    /// Loudness range (EBU Tech 3342), LU.
    pub range_lu: f64,
}

impl Default for Loudness {
    fn default() -> Self {
        Self { integrated_lufs: SILENCE_LUFS.into(), range_lu: 0.0 }
    }
}

/// Tenths of a second that the two loudnesses span.
const MOMENTARY: u32 = 4;
const SHORT: u32 = 30;

/// Follows loudness as the sound comes.
pub(super) struct Loud {
    meter: EbuR128,
    channels: usize,
    /// Interleaved samples of the current tenth of a second: fed whole, so that how blocks are cut
    /// changes nothing.
    tenth: Vec<f32>,
    whole: usize,
    /// Tenths so far.
    values: u32,
    momentary_lufs: f32,
    short_lufs: f32,
    usual_lufs: f64,
    /// The song's, or none yet: then the first loud short-term value begins.
    fixed: bool,
    begun: bool,
}

impl Loud {
    pub(super) fn new(sound: SoundFormat, knowing: &Knowing) -> Result<Self, AnalysisError> {
        let meter = meter(sound, Mode::M | Mode::S)?;
        let channels = usize::from(sound.channels);
        let whole = tenth_of(sound) * channels;
        let song = match knowing {
            Knowing::Song(facts) => Some(facts.loudness.integrated_lufs),
            Knowing::Nothing => None,
        };
        Ok(Self {
            meter,
            channels,
            tenth: Vec::with_capacity(whole),
            whole,
            values: 0,
            momentary_lufs: SILENCE_LUFS,
            short_lufs: SILENCE_LUFS,
            usual_lufs: song.unwrap_or(START_LUFS.into()),
            fixed: song.is_some(),
            begun: false,
        })
    }

    pub(super) fn push(&mut self, block: SampleBlock<'_>) {
        let had = usize::from(block.channels());
        for instant in block.interleaved().chunks_exact(had) {
            // Channels that are missing are silent, those too many are not heard.
            let known = instant.iter().copied().chain(std::iter::repeat(0.0));
            self.tenth.extend(known.take(self.channels));
            if self.tenth.len() >= self.whole {
                self.value();
            }
        }
    }

    fn value(&mut self) {
        // Fails only for a length that is no whole number of instants.
        let fed = self.meter.add_frames_f32(&self.tenth).is_ok();
        self.tenth.clear();
        if !fed {
            return;
        }
        self.values = self.values.saturating_add(1);
        let (momentary, short) = (self.meter.loudness_momentary(), self.meter.loudness_shortterm());
        self.momentary_lufs = self.over(momentary, MOMENTARY);
        self.short_lufs = self.over(short, SHORT);
        let now = f64::from(self.short_lufs);
        if self.fixed || self.short_lufs <= SILENCE_LUFS {
            return;
        }
        if !self.begun {
            self.usual_lufs = now;
            self.begun = true;
        }
        let slow = now < self.usual_lufs - GATE_LU;
        let time_s = if slow { FOLLOW_LOW_S } else { FOLLOW_S };
        let part = -libm::expm1(-1.0 / (time_s * f64::from(VALUES_PER_S)));
        self.usual_lufs += part * (now - self.usual_lufs);
    }

    /// A loudness over so many tenths of a second. While there are not as many yet, it is over
    /// those that there are: the meter counts what lies before the sound as silence.
    fn over(&self, lufs: Result<f64, ebur128::Error>, tenths: u32) -> f32 {
        let had = f64::from(self.values.min(tenths));
        let lufs = lufs.unwrap_or(f64::NEG_INFINITY) + 10.0 * libm::log10(f64::from(tenths) / had);
        single(lufs.max(SILENCE_LUFS.into()))
    }

    pub(super) fn sense(&self, slow: bool) -> super::Sense {
        let lufs = if slow { self.short_lufs } else { self.momentary_lufs };
        super::Sense::Level { lufs, usual_lufs: single(self.usual_lufs) }
    }
}

/// Why a song could not be measured.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum SongError {
    /// The sound cannot be analysed.
    #[error(transparent)]
    Analysis(#[from] AnalysisError),
    /// The sound failed.
    #[error(transparent)]
    Sound(#[from] SoundError),
}

/// Hears a whole song: its loudness, and its events with look-ahead. Damage in the middle ends it
/// there, as it will when the song is rendered.
///
/// # Errors
/// When the sound cannot be analysed, or fails before anything was heard.
pub fn measure_song(
    source: &mut dyn Source,
    arith: Arith,
    go_on: &mut dyn FnMut(u64) -> bool,
) -> Result<SongFacts, SongError> {
    let sound = source.format();
    let mut meter = meter(sound, Mode::I | Mode::LRA | Mode::HISTOGRAM)?;
    let mut onsets = Onsets::new(sound, Hearing::WholeSong, arith)?;
    let mut events: Vec<Event> = Vec::new();
    let mut instants = 0_u64;
    loop {
        let block = match source.next_block() {
            Ok(Some(block)) => block,
            Ok(None) => break,
            Err(error) if instants == 0 => return Err(error.into()),
            Err(_) => break,
        };
        if block.channels() == sound.channels {
            // A whole number of instants is never refused.
            meter.add_frames_f32(block.interleaved()).unwrap_or_default();
        }
        onsets.push(block, &mut |event| events.push(event));
        instants += block.instants() as u64;
        if !go_on(instants) {
            break;
        }
    }
    onsets.finish(&mut |event| events.push(event));
    events.sort_by(|a, b| a.time_s.total_cmp(&b.time_s).then(a.kind.cmp(&b.kind)));
    let or_silence = |lufs: Result<f64, _>| lufs.unwrap_or(f64::NEG_INFINITY);
    Ok(SongFacts {
        loudness: Loudness {
            integrated_lufs: or_silence(meter.loudness_global()).max(SILENCE_LUFS.into()),
            range_lu: meter.loudness_range().unwrap_or(0.0),
        },
        events,
    })
}

fn meter(sound: SoundFormat, mode: Mode) -> Result<EbuR128, AnalysisError> {
    EbuR128::new(sound.channels.into(), sound.rate_hz, mode)
        .map_err(|_| AnalysisError::SoundChannels { channels: sound.channels })
}

fn tenth_of(sound: SoundFormat) -> usize {
    // As the crate rounds it.
    usize::try_from((sound.rate_hz + VALUES_PER_S / 2) / VALUES_PER_S).unwrap_or(usize::MAX)
}

/// To a hundredth of a LU: the last digits of a logarithm differ between platforms.
#[expect(clippy::cast_possible_truncation, reason = "levels are handed on in single precision")]
fn single(lufs: f64) -> f32 {
    (libm::round(100.0 * lufs) / 100.0) as f32
}
