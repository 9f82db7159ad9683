//! From scores to beats: signs handed to the tempo tracker, beats as events.

use super::{Event, Kind, LOOKS_PER_S};
use crate::analysis::tempo::{TICKS_PER_S, Tempo, Trace};

/// Looks in a tick.
const LOOKS: u64 = (LOOKS_PER_S / TICKS_PER_S) as u64;

/// A likeliest row of beats is found in anything. As they come, those are told of which one is at least
/// so sure ([`Tempo::confidence`]).
const LEAST_SURE: f64 = 0.006;

/// A whole song has no pulse where half of its beats are marked by weaker signs than this: in silence,
/// noise and held sounds the middle one is .003 at most, in bowed strings .017 and more.
const LEAST_SIGN: f64 = 0.006;

/// Who keeps the beat.
#[derive(Debug, Clone)]
enum Keeper {
    AsItComes(Box<Tempo>),
    AtTheEnd(Box<Trace>),
}

/// Beats of a sound.
#[derive(Debug, Clone)]
pub(super) struct Beats {
    keeper: Keeper,
    looks: u64,
    before: f32,
    sign: f64,
}

impl Beats {
    /// `late_s`: how much later than a beat its sign comes.
    pub(super) fn new(late_s: f64, at_the_end: bool) -> Self {
        let keeper = if at_the_end {
            Keeper::AtTheEnd(Box::new(Trace::new(late_s)))
        } else {
            Keeper::AsItComes(Box::new(Tempo::new(late_s)))
        };
        Self { keeper, looks: 0, before: super::pick::NEVER, sign: 0.0 }
    }

    /// Takes the score of a look.
    pub(super) fn take(&mut self, score: f32) -> Option<Event> {
        let mean = 0.5 * (score + self.before);
        self.before = score;
        self.sign = self.sign.max(f64::from(1.0 / (1.0 + libm::expf(-mean))));
        self.looks += 1;
        if !self.looks.is_multiple_of(LOOKS) {
            return None;
        }
        let sign = std::mem::take(&mut self.sign);
        match &mut self.keeper {
            Keeper::AsItComes(tempo) => {
                let beat = tempo.tick(sign).filter(|beat| beat.confidence >= LEAST_SURE);
                beat.map(|beat| event(beat.time_s, beat.confidence, beat.emitted_s))
            }
            Keeper::AtTheEnd(trace) => {
                trace.tick(sign);
                None
            }
        }
    }

    /// The beats that only the end could tell.
    pub(super) fn finish(&self, end_s: f64, each: &mut dyn FnMut(Event)) {
        if let Keeper::AtTheEnd(trace) = &self.keeper {
            let beats = trace.beats();
            let mut signs: Vec<f64> = beats.iter().map(|(_, sign)| *sign).collect();
            signs.sort_by(f64::total_cmp);
            let middle = signs.get(signs.len() / 2).copied().unwrap_or(0.0);
            if middle >= LEAST_SIGN {
                beats.iter().for_each(|(time_s, sign)| each(event(*time_s, *sign, end_s)));
            }
        }
    }

    pub(super) fn tempo(&self) -> Option<&Tempo> {
        match &self.keeper {
            Keeper::AsItComes(tempo) => Some(tempo),
            Keeper::AtTheEnd(_) => None,
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "from 0 to 1")]
fn event(time_s: f64, strength: f64, emitted_s: f64) -> Event {
    Event { time_s, kind: Kind::Beat, strength: strength as f32, emitted_s }
}
