//! The beat, announced before it falls, and how far it has gone on.
//!
//! A beat that is followed is a forecast: the newest one and the length of a beat say where the
//! next ones will fall. So it can be told as early as wanted, at the price of being less sure: a
//! beat is told once, and not again when the forecast moves by less than half a beat.

use super::events::{BeatsOf, Feed};
use crate::analysis::onset::Kind;
use crate::units::Seconds;

/// Share of a beat within which a forecast that moved is still the same beat.
const SAME: f64 = 0.55;

/// Announces beats.
pub(super) struct Beats {
    lead_s: f64,
    sure: f64,
    /// The beat that was announced last, s; far in the past before the first.
    last_s: f64,
    /// Where reading goes on among known events.
    next: usize,
}

impl Beats {
    pub(super) fn new(lead_s: Seconds, sure: f64) -> Self {
        Self { lead_s: lead_s.0, sure, last_s: f64::NEG_INFINITY, next: 0 }
    }

    /// Strength of a beat that has to be told in the frame at `now_s`, else 0.
    pub(super) fn frame(&mut self, feed: &Feed, now_s: f64, dt_s: f64) -> f32 {
        match feed.beats() {
            BeatsOf::None => 0.0,
            BeatsOf::Comes(tempo) => {
                let (period_s, confidence) = (tempo.period_s(), tempo.confidence());
                if confidence < self.sure || period_s <= 0.0 {
                    return 0.0;
                }
                let horizon_s = now_s + self.lead_s;
                // The newest beat that lies within the horizon.
                let turns = libm::floor((horizon_s - tempo.next_beat_s()) / period_s);
                let beat_s = tempo.next_beat_s() + turns * period_s;
                // One that should have been told long ago is not told late.
                let fresh = horizon_s - beat_s < dt_s.max(0.1 * period_s);
                if !fresh || beat_s - self.last_s < SAME * period_s {
                    return 0.0;
                }
                self.last_s = beat_s;
                single(confidence)
            }
            BeatsOf::Known(events) => {
                let mut strongest = 0.0_f32;
                while let Some(event) = events.get(self.next) {
                    if event.time_s - self.lead_s > now_s {
                        break;
                    }
                    if event.kind == Kind::Beat && f64::from(event.strength) >= self.sure {
                        strongest = strongest.max(event.strength);
                    }
                    self.next += 1;
                }
                strongest
            }
        }
    }
}

/// Follows the place within the beat.
pub(super) struct Phase {
    lead_s: f64,
    sure: f64,
    next: usize,
}

impl Phase {
    pub(super) fn new(lead_s: Seconds, sure: f64) -> Self {
        Self { lead_s: lead_s.0, sure, next: 0 }
    }

    /// 1 at the beat, falling to 0 just before the next; 0 while no beat is sure.
    pub(super) fn frame(&mut self, feed: &Feed, now_s: f64) -> f32 {
        let at_s = now_s + self.lead_s;
        let gone = match feed.beats() {
            BeatsOf::None => None,
            BeatsOf::Comes(tempo) => {
                let sure = tempo.confidence() >= self.sure && tempo.period_s() > 0.0;
                sure.then(|| {
                    let turns = (at_s - tempo.next_beat_s()) / tempo.period_s();
                    turns - libm::floor(turns)
                })
            }
            BeatsOf::Known(events) => self.between(events, at_s),
        };
        gone.map_or(0.0, |gone| single((1.0 - gone).clamp(0.0, 1.0)))
    }

    fn between(&mut self, events: &[super::Event], at_s: f64) -> Option<f64> {
        let beat = |event: &&super::Event| event.kind == Kind::Beat;
        while events.get(self.next).is_some_and(|event| event.time_s <= at_s) {
            self.next += 1;
        }
        let (before, after) = events.split_at_checked(self.next)?;
        // Beats lie at most some seconds apart: a short walk.
        let (last, next) = (before.iter().rev().find(beat)?, after.iter().find(beat)?);
        let sure = f64::from(last.strength.min(next.strength)) >= self.sure;
        let length_s = next.time_s - last.time_s;
        (sure && length_s > 0.0).then(|| (at_s - last.time_s) / length_s)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "from 0 to 1")]
fn single(x: f64) -> f32 {
    x as f32
}
