//! What happens in the sound: where something begins, and what kind of stroke it was.
//!
//! ```text
//! samples -> ear (glance, relief) -> view -> score (two nets) -> pick -> events
//!            what stands out of      the     a score a kind      the first looks over the threshold;
//!            each band, 250 x a s    last                        beats by way of tempo
//!                                    looks
//! ```
//!
//! Two times belong to an event: when it began in the sound, and when it was known. Live they lie
//! some 8 to 16 ms apart; with look-ahead about 45 ms, which makes fewer mistakes.
//!
//! Looks are taken at the same moments of the sound at every sampling rate, independent of frames;
//! the same samples give the same events however they are cut. A recording that is quieter gives the
//! same events, down to the noise of 16 bits.

mod beats;
mod ear;
mod glance;
mod net;
mod pick;
mod relief;
mod score;
mod view;

use super::tempo::Tempo;
use super::{AnalysisError, Arith, check_sound};
use crate::audio::{SampleBlock, SoundFormat};
use beats::Beats;
use ear::Ear;
pub(in crate::analysis) use ear::group_bands_hz;
use pick::Picker;
pub(in crate::analysis) use relief::PER_GROUP;
use score::Scorer;
use std::fmt;
use view::{AHEAD, LIVE};

/// Looks at the sound per second.
pub const LOOKS_PER_S: u16 = 250;

/// What one look gives: [`PER_GROUP`] numbers of each group of bands.
pub(in crate::analysis) type Look = [f32; ear::SIZE];

/// Kinds that are picked by their scores.
const KINDS: usize = 4;

const KIND_ORDER: [Kind; KINDS] = [Kind::Onset, Kind::Kick, Kind::Snare, Kind::Hat];

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Something began: a stroke, a note, a chord. What begins within some 50 ms is one onset.
    Onset,
    /// A kick, or what sounds like one. The same stroke is an onset as well; so for the others.
    Kick,
    /// A snare, a rim or a clap.
    Snare,
    /// A hi-hat.
    Hat,
    /// Where the beat falls, marked by the sound or not.
    Beat,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Onset => "onset",
            Self::Kick => "kick",
            Self::Snare => "snare",
            Self::Hat => "hat",
            Self::Beat => "beat",
        })
    }
}

/// Something that happened in the sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// When it began, in seconds from the start of the sound.
    pub time_s: f64,
    /// What it was.
    pub kind: Kind,
    /// How sure it is, 0 to 1. Not how loud.
    pub strength: f32,
    /// The sound up to here was needed to know of it: a live run knows it then, plus its buffers.
    pub emitted_s: f64,
}

/// How much of what follows an event may be heard before it is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Hearing {
    /// As little as possible.
    #[default]
    AsLive,
    /// Some 40 ms: for sound that is kept back. Beats are followed as they come.
    LookAhead,
    /// Some 40 ms, and for beats the whole song: they come in [`Onsets::finish`]. Memory grows with
    /// the song, by some 13 kB a second.
    WholeSong,
}

/// Samples in, events out. All memory is taken in [`Onsets::new`], but for [`Hearing::WholeSong`].
pub struct Onsets {
    ear: Ear,
    scorer: Scorer,
    picker: Picker,
    beats: Beats,
    after_s: f64,
}

const SILENCE: [f32; 256] = [0.0; 256];

impl Onsets {
    /// # Errors
    /// When the sound's rate or number of channels is outside what can be analysed.
    pub fn new(sound: SoundFormat, hearing: Hearing, arith: Arith) -> Result<Self, AnalysisError> {
        check_sound(sound)?;
        let view = match hearing {
            Hearing::AsLive => LIVE,
            Hearing::LookAhead | Hearing::WholeSong => AHEAD,
        };
        Ok(Self {
            ear: Ear::new(sound, arith),
            scorer: Scorer::new(view),
            picker: Picker::new(view),
            after_s: view.after_s,
            beats: Beats::new(view.beat_late_s, hearing == Hearing::WholeSong),
        })
    }

    /// Takes sound in and hands every event found to `each`, in the order of `emitted_s`.
    ///
    /// A block with another number of channels than agreed is heard as far as channels go.
    pub fn push(&mut self, block: SampleBlock<'_>, each: &mut dyn FnMut(Event)) {
        self.push_seen(block, each, &mut |_| ());
    }

    /// The same, and hands every look to `seen`.
    pub(in crate::analysis) fn push_seen(
        &mut self,
        mut block: SampleBlock<'_>,
        each: &mut dyn FnMut(Event),
        seen: &mut dyn FnMut(&Look),
    ) {
        while block.instants() > 0 {
            let (rest, look) = self.ear.hear(block);
            block = rest;
            let Some(look) = look else { continue };
            seen(look);
            self.picker.hear(look);
            let scores = self.scorer.weigh(look);
            self.picker.take(&scores).iter().flatten().copied().for_each(&mut *each);
            let beat = if self.picker.counts() { scores.beat } else { pick::NEVER };
            self.beats.take(beat).into_iter().for_each(&mut *each);
        }
    }

    /// After the end: look-ahead still has to hear what follows, which is silence. Live there is
    /// nothing to wait for.
    pub fn finish(&mut self, each: &mut dyn FnMut(Event)) {
        let end_s = self.ear.heard_s();
        let mut missing = self.ear.instants_in(self.after_s);
        while missing > 0 {
            let run = missing.min(SILENCE.len());
            missing -= run;
            let Some(block) = SILENCE.get(..run).and_then(|run| SampleBlock::new(run, 1)) else {
                break;
            };
            self.push(block, &mut |event| {
                if event.time_s < end_s {
                    each(event);
                }
            });
        }
        self.beats.finish(end_s, each);
    }

    /// The tempo as it seems now, and when the next beat will fall; `None` for
    /// [`Hearing::WholeSong`].
    pub fn tempo(&self) -> Option<&Tempo> {
        self.beats.tempo()
    }
}

/// What stands out at each look: the numbers that weights are fitted to.
#[doc(hidden)]
pub fn raw(samples: &[f32], sound: SoundFormat) -> Vec<f32> {
    let mut ear = Ear::new(sound, Arith::Native);
    let mut out = Vec::new();
    let Some(mut rest) = SampleBlock::new(samples, sound.channels) else { return out };
    while rest.instants() > 0 {
        let (tail, look) = ear.hear(rest);
        out.extend(look.into_iter().flatten());
        rest = tail;
    }
    out
}
