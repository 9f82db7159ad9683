//! Events of the whole sound, from one of two places: found as the sound comes, or known before.

use super::super::onset::{Event, Hearing, Kind, Look, Onsets};
use super::super::tempo::Tempo;
use super::{AnalysisError, Arith, Knowing, SongFacts};
use crate::audio::{SampleBlock, SoundFormat};
use std::sync::Arc;

/// Kinds, in the order of the slots.
const KINDS: [Kind; 4] = [Kind::Onset, Kind::Kick, Kind::Snare, Kind::Hat];

/// Where events come from.
pub(super) enum Feed {
    /// Nobody asked.
    Deaf,
    /// As the sound comes.
    Comes(Box<Comes>),
    /// Known before, told as their time comes.
    Known(Box<Known>),
}

/// Finds events.
pub(super) struct Comes {
    onsets: Onsets,
    /// Strongest event of each kind since the last frame.
    gathered: [f32; KINDS.len()],
    told: [f32; KINDS.len()],
}

/// Tells events.
pub(super) struct Known {
    facts: Arc<SongFacts>,
    next: usize,
    told: [f32; KINDS.len()],
    /// For onsets within bands, where somebody asks for them.
    onsets: Option<Onsets>,
}

impl Feed {
    /// `looks`: somebody asks for onsets within bands.
    pub(super) fn new(
        sound: SoundFormat,
        knowing: &Knowing,
        arith: Arith,
        looks: bool,
    ) -> Result<Self, AnalysisError> {
        let onsets = || Onsets::new(sound, Hearing::AsLive, arith);
        let (gathered, told) = Default::default();
        Ok(match knowing {
            Knowing::Nothing => Self::Comes(Box::new(Comes { onsets: onsets()?, gathered, told })),
            Knowing::Song(facts) => {
                let onsets = if looks { Some(onsets()?) } else { None };
                Self::Known(Box::new(Known { facts: facts.clone(), next: 0, told, onsets }))
            }
        })
    }

    /// Takes sound in and hands every look to `each`.
    pub(super) fn push(&mut self, block: SampleBlock<'_>, each: &mut dyn FnMut(&Look)) {
        match self {
            Self::Deaf => {}
            Self::Comes(comes) => {
                let gathered = &mut comes.gathered;
                comes.onsets.push_seen(block, &mut |event| gather(gathered, &event), each);
            }
            Self::Known(known) => {
                if let Some(onsets) = &mut known.onsets {
                    onsets.push_seen(block, &mut |_| (), each);
                }
            }
        }
    }

    /// The frame at `now_s` begins: what has come until then is its own.
    pub(super) fn frame(&mut self, now_s: f64) {
        match self {
            Self::Deaf => {}
            Self::Comes(comes) => comes.told = std::mem::take(&mut comes.gathered),
            Self::Known(known) => {
                known.told = [0.0; KINDS.len()];
                while let Some(event) = known.facts.events.get(known.next) {
                    if event.time_s > now_s {
                        break;
                    }
                    gather(&mut known.told, event);
                    known.next += 1;
                }
            }
        }
    }

    /// Strength of the strongest event of a kind in this frame.
    pub(super) fn told(&self, slot: usize) -> f32 {
        let told = match self {
            Self::Deaf => None,
            Self::Comes(comes) => comes.told.get(slot),
            Self::Known(known) => known.told.get(slot),
        };
        told.copied().unwrap_or(0.0)
    }

    /// The beats around a moment.
    pub(super) fn beats(&self) -> BeatsOf<'_> {
        match self {
            Self::Deaf => BeatsOf::None,
            Self::Comes(comes) => comes.onsets.tempo().map_or(BeatsOf::None, BeatsOf::Comes),
            Self::Known(known) => BeatsOf::Known(&known.facts.events),
        }
    }
}

/// Where beats are read.
pub(super) enum BeatsOf<'a> {
    /// Nowhere.
    None,
    /// Followed.
    Comes(&'a Tempo),
    /// Among all events of a song.
    Known(&'a [Event]),
}

fn gather(gathered: &mut [f32; KINDS.len()], event: &Event) {
    let slot = KINDS.iter().position(|kind| *kind == event.kind);
    if let Some(strongest) = slot.and_then(|slot| gathered.get_mut(slot)) {
        *strongest = strongest.max(event.strength);
    }
}

/// One kind of event.
pub(super) struct Strikes {
    slot: usize,
}

impl Strikes {
    pub(super) fn new(kind: Kind) -> Self {
        Self { slot: KINDS.iter().position(|known| *known == kind).unwrap_or(0) }
    }

    pub(super) fn take(&self, feed: &Feed) -> f32 {
        feed.told(self.slot)
    }
}
