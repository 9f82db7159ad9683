//! From scores to events: the first two looks that are over the threshold together count, then
//! a short rest.

use super::ear::SIZE;
use super::relief::PER_GROUP;
use super::score::Scores;
use super::view::View;
use super::{Event, KIND_ORDER, KINDS, LOOKS_PER_S};

/// Looks from an event to the next of its kind: 52 ms. Strokes that follow each other faster (a
/// flam, a strummed chord) are one.
const REST_LOOKS: u64 = 13;

/// Looks in which a sound counts as there from the first on: the first alone may be too little for
/// any window to hold much.
const FIRST_LOOKS: u64 = 2;

/// Looks after the first during which a sound that was there from the first on is only listened
/// to: 100 ms, longer than any window and lag. What sounds from the very start did not begin there.
const START_LOOKS: u64 = 25;

/// Mean level of a group over its reference, in nepers of power, from which on it sounds.
const SOUNDS: f32 = 0.7;

/// A score that never counts.
pub(super) const NEVER: f32 = -9.0;

/// Picks events of every kind.
#[derive(Debug, Clone)]
pub(super) struct Picker {
    thresholds: [f32; KINDS],
    age_ms: (f32, f32),
    looks: u64,
    /// Look from which on scores count.
    from: u64,
    before: [f32; KINDS],
    /// Look from which on each kind may come again.
    free: [u64; KINDS],
    found: [Option<Event>; KINDS],
}

impl Picker {
    pub(super) fn new(view: View) -> Self {
        Self {
            thresholds: view.thresholds,
            age_ms: view.age_ms,
            looks: 0,
            from: 0,
            before: [NEVER; KINDS],
            free: [0; KINDS],
            found: [None; KINDS],
        }
    }

    /// To be told every look before its scores are taken.
    pub(super) fn hear(&mut self, look: &[f32; SIZE]) {
        self.looks += 1;
        let sounds = || look.iter().skip(2).step_by(PER_GROUP).any(|&level| level > SOUNDS);
        if self.looks <= FIRST_LOOKS && sounds() {
            self.from = START_LOOKS;
        }
    }

    /// Whether scores count by now.
    pub(super) fn counts(&self) -> bool {
        self.looks > self.from
    }

    /// What the newest look tells, given its scores.
    pub(super) fn take(&mut self, scores: &Scores) -> &[Option<Event>; KINDS] {
        let emitted_s = self.looks as f64 / f64::from(LOOKS_PER_S);
        let age_ms = (10.0 * scores.age).clamp(self.age_ms.0, self.age_ms.1);
        let time_s = (emitted_s - 1e-3 * f64::from(age_ms)).max(0.0);
        let scores = if self.counts() { scores.kinds } else { [NEVER; KINDS] };
        let slots = self.found.iter_mut().zip(&mut self.free).zip(&mut self.before);
        let wanted = scores.into_iter().zip(self.thresholds).zip(KIND_ORDER);
        for (((found, free), before), ((score, threshold), kind)) in slots.zip(wanted) {
            let mean = 0.5 * (score + *before);
            *before = score;
            *found = None;
            if mean > threshold && self.looks >= *free {
                *free = self.looks + REST_LOOKS;
                let strength = 1.0 / (1.0 + libm::expf(-mean));
                *found = Some(Event { time_s, kind, strength, emitted_s });
            }
        }
        &self.found
    }
}

#[cfg(test)]
mod tests {
    use super::super::view::LIVE;
    use super::*;

    /// Whether scores count in the tenth look, if the sound sets in with the given one.
    fn counts_soon(first: usize) -> bool {
        let mut picker = Picker::new(LIVE);
        for look in 1..=10 {
            picker.hear(&[if look < first { 0.0 } else { 2.0 * SOUNDS }; SIZE]);
        }
        picker.counts()
    }

    #[test]
    fn what_sounds_within_two_looks_is_only_listened_to_at_first() {
        assert!(!counts_soon(1));
        assert!(!counts_soon(2), "the first look may be too little for any window");
        assert!(counts_soon(3));
    }
}
