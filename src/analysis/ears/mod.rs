//! What can be heard besides levels: events, the beat, brightness, loudness.
//!
//! Each [`EarRequest`] of the settings becomes one [`Sense`] a frame, in the same order. What
//! nobody asks for is not computed. Events come in one of two ways: as a live run would know them,
//! or, for a song that is known beforehand, at the moments at which they happen ([`Knowing`]).

mod beat;
mod bright;
mod events;
mod in_band;
mod loud;

pub(super) use bright::requests as bright_requests;
pub use loud::{Loudness, SongError, measure_song};

use super::onset::{Event, Kind};
use super::{AnalysisError, Arith};
use crate::audio::{SampleBlock, SoundFormat};
use crate::units::{Hertz, Rate, Seconds};
use beat::{Beats, Phase};
use bright::Bright;
use events::{Feed, Strikes};
use in_band::InBand;
use loud::Loud;
use std::sync::Arc;

/// Something to be heard besides the level of a band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EarRequest {
    /// Events of one kind in the whole sound. [`Kind::Beat`] is heard as [`EarRequest::Beat`].
    Event(Kind),
    /// Onsets within a band: what begins there.
    EventInBand {
        /// Lower edge.
        low_hz: Hertz,
        /// Upper edge, above the lower.
        high_hz: Hertz,
    },
    /// The beat, foretold: each is announced so much before it falls.
    Beat {
        /// How much earlier, 0 to 1 s.
        lead_s: Seconds,
        /// Least confidence, 0 to 1, for a beat to be announced.
        sure: f64,
    },
    /// How far the beat has gone on towards the next one.
    Phase {
        /// How much earlier, 0 to 1 s.
        lead_s: Seconds,
        /// Least confidence, 0 to 1; below it nothing is heard.
        sure: f64,
    },
    /// Where the middle of the spectrum lies (power-weighted centroid from 120 Hz to 16 kHz).
    Brightness,
    /// Loudness as people perceive it (ITU-R BS.1770), against what is usual in this music.
    Loudness {
        /// Over 3 s (short-term); else over 0.4 s (momentary).
        slow: bool,
    },
}

/// What one ear heard in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sense {
    /// Strength of the strongest event since the last frame, 0 to 1; 0 where there was none.
    Struck(f32),
    /// Share of the beat that is still to come, 1 at the beat falling to 0 just before the next;
    /// 0 while no beat is sure.
    Phase(f32),
    /// Centroid, Hz. Stands still while nothing plays.
    Centroid(f32),
    /// A loudness.
    Level {
        /// Now, LUFS; -70 for silence.
        lufs: f32,
        /// What is usual: of the song as a whole where it is known, else followed slowly, LUFS.
        usual_lufs: f32,
    },
}

/// What is known of the sound beforehand.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Knowing {
    /// Nothing: it is heard as it comes.
    #[default]
    Nothing,
    /// The song as a whole.
    Song(Arc<SongFacts>),
}

/// What a first pass over a file finds out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SongFacts {
    /// Its loudness.
    pub loudness: Loudness,
    /// Its events in order of time; beats too.
    pub events: Vec<Event>,
}

/// All ears of an analysis. All memory is taken in [`Ears::new`].
pub(super) struct Ears {
    sound_hz: f64,
    dt_s: f64,
    heard: u64,
    feed: Feed,
    loud: Option<Loud>,
    bright: Bright,
    ears: Vec<Ear>,
    senses: Vec<Sense>,
}

/// One request at work.
enum Ear {
    Event(Strikes),
    InBand(InBand),
    Beat(Beats),
    Phase(Phase),
    Brightness,
    Loudness { slow: bool },
}

impl Ears {
    /// Builds what the requests need, and no more.
    ///
    /// # Errors
    /// When the sound is outside what can be analysed, or a band's edges are none.
    pub(super) fn new(
        sound: SoundFormat,
        frame_rate: Rate,
        requests: &[EarRequest],
        knowing: &Knowing,
        arith: Arith,
    ) -> Result<Self, AnalysisError> {
        let asks = |test: fn(&EarRequest) -> bool| requests.iter().any(test);
        let events =
            asks(|ear| !matches!(ear, EarRequest::Brightness | EarRequest::Loudness { .. }));
        let loud = asks(|ear| matches!(ear, EarRequest::Loudness { .. }));
        let looks = asks(|ear| matches!(ear, EarRequest::EventInBand { .. }));
        let ears = requests.iter().map(Ear::new).collect::<Result<Vec<_>, _>>()?;
        Ok(Self {
            sound_hz: f64::from(sound.rate_hz),
            dt_s: frame_rate.period().0,
            heard: 0,
            feed: if events { Feed::new(sound, knowing, arith, looks)? } else { Feed::Deaf },
            loud: if loud { Some(Loud::new(sound, knowing)?) } else { None },
            bright: Bright::default(),
            senses: ears.iter().map(Ear::silent).collect(),
            ears,
        })
    }

    pub(super) fn push(&mut self, block: SampleBlock<'_>) {
        if self.ears.is_empty() {
            return;
        }
        self.heard += block.instants() as u64;
        if let Some(loud) = &mut self.loud {
            loud.push(block);
        }
        let ears = &mut self.ears;
        self.feed.push(block, &mut |look| ears.iter_mut().for_each(|ear| ear.look(look)));
    }

    /// One frame: what was heard since the last one. `bright_powers` are those of the bands of
    /// [`bright_requests`]; empty where nobody asked.
    pub(super) fn measure(&mut self, bright_powers: &[f64], quiet: bool) -> &[Sense] {
        let now_s = self.heard as f64 / self.sound_hz;
        let Self { feed, loud, bright, ears, senses, .. } = self;
        feed.frame(now_s);
        bright.measure(bright_powers, quiet);
        for (ear, sense) in ears.iter_mut().zip(senses) {
            *sense = match ear {
                Ear::Event(strikes) => Sense::Struck(strikes.take(feed)),
                Ear::InBand(band) => Sense::Struck(band.take()),
                Ear::Beat(beats) => Sense::Struck(beats.frame(feed, now_s, self.dt_s)),
                Ear::Phase(phase) => Sense::Phase(phase.frame(feed, now_s)),
                Ear::Brightness => Sense::Centroid(bright.centroid_hz()),
                Ear::Loudness { slow } => loud.as_ref().map_or(silence(), |loud| loud.sense(*slow)),
            };
        }
        &self.senses
    }
}

/// A level that is none.
fn silence() -> Sense {
    Sense::Level { lufs: loud::SILENCE_LUFS, usual_lufs: loud::START_LUFS }
}

impl Ear {
    fn new(request: &EarRequest) -> Result<Self, AnalysisError> {
        Ok(match *request {
            EarRequest::Event(kind) => Self::Event(Strikes::new(kind)),
            EarRequest::EventInBand { low_hz, high_hz } => {
                Self::InBand(InBand::new(low_hz, high_hz)?)
            }
            EarRequest::Beat { lead_s, sure } => Self::Beat(Beats::new(lead_s, sure)),
            EarRequest::Phase { lead_s, sure } => Self::Phase(Phase::new(lead_s, sure)),
            EarRequest::Brightness => Self::Brightness,
            EarRequest::Loudness { slow } => Self::Loudness { slow },
        })
    }

    fn silent(&self) -> Sense {
        match self {
            Self::Event(_) | Self::InBand(_) | Self::Beat(_) => Sense::Struck(0.0),
            Self::Phase(_) => Sense::Phase(0.0),
            Self::Brightness => Sense::Centroid(0.0),
            Self::Loudness { .. } => silence(),
        }
    }

    fn look(&mut self, look: &super::onset::Look) {
        if let Self::InBand(band) = self {
            band.look(look);
        }
    }
}
