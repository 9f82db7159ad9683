//! From scores to events: the first look over the threshold counts, then a short rest.

use super::view::View;
use super::{Event, KIND_ORDER, KINDS, LOOKS_PER_S};

/// Looks from an event to the next of its kind: 52 ms. Strokes that follow each other faster (a
/// flam, a strummed chord) are one.
const REST_LOOKS: u64 = 13;

/// Picks events of every kind.
#[derive(Debug, Clone)]
pub(super) struct Picker {
    thresholds: [f32; KINDS],
    age_ms: (f32, f32),
    looks: u64,
    /// Look from which on each kind may come again.
    free: [u64; KINDS],
    found: [Option<Event>; KINDS],
}

impl Picker {
    pub(super) fn new(view: View) -> Self {
        let (thresholds, age_ms) = (view.thresholds, view.age_ms);
        Self { thresholds, age_ms, looks: 0, free: [0; KINDS], found: [None; KINDS] }
    }

    /// What the newest look tells, given its scores and how old the newest event is thought to
    /// be, in hundredths of a second.
    pub(super) fn take(&mut self, scores: &[f32], age: f32) -> &[Option<Event>; KINDS] {
        self.looks += 1;
        let emitted_s = self.looks as f64 / f64::from(LOOKS_PER_S);
        let age_ms = (10.0 * age).clamp(self.age_ms.0, self.age_ms.1);
        let time_s = (emitted_s - 1e-3 * f64::from(age_ms)).max(0.0);
        let slots = self.found.iter_mut().zip(&mut self.free);
        let wanted = scores.iter().zip(self.thresholds).zip(KIND_ORDER);
        for ((found, free), ((&score, threshold), kind)) in slots.zip(wanted) {
            *found = None;
            if score > threshold && self.looks >= *free {
                *free = self.looks + REST_LOOKS;
                let strength = 1.0 / (1.0 + libm::expf(-score));
                *found = Some(Event { time_s, kind, strength, emitted_s });
            }
        }
        &self.found
    }
}
