//! What a song asks of every coil over time, condensed: for finding gains that the heat allows.

#![expect(clippy::indexing_slicing, reason = "all arrays hold one entry per coil, slots of them")]

use super::Budget;

/// Length of a slot at first, s. Backings and most windings hardly move in it; what they do move is
/// covered by the loudest pulse, which is kept beside the mean.
const SLOT_S: f64 = 0.5;

/// Slots of all coils together from which on neighbours in time are joined: 8 MB.
const MOST_SLOTS: usize = 1 << 20;

/// What one coil wanted in one slot: heat shares, as if the limiter did not exist.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Slot {
    /// Mean.
    pub mean: f32,
    /// Highest.
    pub top: f32,
}

/// A song, or several in a row, as a budget met it. Memory does not grow with length beyond a bound:
/// slots of twice the length take over.
#[derive(Debug, Clone, PartialEq)]
pub struct Rehearsal {
    coils: usize,
    frame_s: f64,
    /// Frames in a slot, and in the one that is open.
    per_slot: u32,
    open: u32,
    sum: Vec<f64>,
    top: Vec<f64>,
    slots: Vec<Slot>,
    most: usize,
}

impl Rehearsal {
    /// For `coils` coils and frames of this length.
    pub fn new(coils: usize, frame_s: f64) -> Self {
        Self {
            coils,
            frame_s,
            per_slot: frames_in(SLOT_S / frame_s),
            open: 0,
            sum: vec![0.0; coils],
            top: vec![0.0; coils],
            slots: Vec::new(),
            most: MOST_SLOTS.max(2 * coils),
        }
    }

    /// Takes in what the last frame of a budget wanted.
    pub fn add(&mut self, budget: &Budget) {
        self.take(budget.wanted());
    }

    fn take(&mut self, wanted: &[f64]) {
        for ((sum, top), &share) in self.sum.iter_mut().zip(&mut self.top).zip(wanted) {
            *sum += share;
            *top = top.max(share);
        }
        self.open += 1;
        if self.open == self.per_slot {
            self.close();
        }
    }

    /// Ends the last slot; what is left of it counts as off.
    pub fn end(&mut self) {
        if self.open > 0 {
            self.close();
        }
    }

    /// Heat share of each coil added up over all frames, as it was wanted.
    pub fn sums(&self) -> Vec<f64> {
        let mut sums = self.sum.clone();
        for row in self.rows() {
            for (sum, slot) in sums.iter_mut().zip(row) {
                *sum += f64::from(slot.mean) * f64::from(self.per_slot);
            }
        }
        sums
    }

    /// Length of a slot, s.
    pub(super) fn slot_s(&self) -> f64 {
        f64::from(self.per_slot) * self.frame_s
    }

    /// Slots of all coils, one row after the other in time.
    pub(super) fn rows(&self) -> impl Iterator<Item = &[Slot]> {
        self.slots.chunks_exact(self.coils.max(1))
    }

    fn close(&mut self) {
        if self.slots.len() + self.coils > self.most {
            self.halve();
            if self.open < self.per_slot {
                return;
            }
        }
        let frames = f64::from(self.per_slot);
        for (sum, top) in self.sum.iter_mut().zip(&mut self.top) {
            self.slots.push(Slot { mean: narrow(*sum / frames), top: narrow(*top) });
            (*sum, *top) = (0.0, 0.0);
        }
        self.open = 0;
    }

    /// Joins every two neighbours. An odd one at the end is opened again.
    fn halve(&mut self) {
        let coils = self.coils;
        let rows = self.slots.len() / coils;
        if rows % 2 == 1 {
            let frames = f64::from(self.per_slot);
            for coil in 0..coils {
                let slot = self.slots[(rows - 1) * coils + coil];
                self.sum[coil] += f64::from(slot.mean) * frames;
                self.top[coil] = self.top[coil].max(f64::from(slot.top));
            }
            self.open += self.per_slot;
        }
        for row in 0..rows / 2 {
            for coil in 0..coils {
                let (a, b) =
                    (self.slots[2 * row * coils + coil], self.slots[(2 * row + 1) * coils + coil]);
                self.slots[row * coils + coil] =
                    Slot { mean: (a.mean + b.mean) / 2.0, top: a.top.max(b.top) };
            }
        }
        self.slots.truncate(rows / 2 * coils);
        self.per_slot = self.per_slot.saturating_mul(2);
    }
}

/// Whole frames in a span, at least one.
#[expect(clippy::cast_possible_truncation, reason = "saturates far beyond any slot")]
#[expect(clippy::cast_sign_loss, reason = "spans are positive")]
fn frames_in(frames: f64) -> u32 {
    (libm::round(frames) as u32).max(1)
}

#[expect(clippy::cast_possible_truncation, reason = "a share needs no more than single precision")]
fn narrow(value: f64) -> f32 {
    value as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joining_slots_keeps_what_was_wanted() {
        let mut whole = Rehearsal::new(2, 0.25);
        whole.most = 8;
        let frames = 43;
        for frame in 0..frames {
            let share = f64::from(frame % 7) / 8.0;
            whole.take(&[share, 1.0 - share]);
        }
        whole.end();
        assert!(whole.slots.len() <= 8, "{} slots", whole.slots.len());
        let wanted: f64 = (0..frames).map(|frame| f64::from(frame % 7) / 8.0).sum();
        let sums = whole.sums();
        assert!((sums[0] - wanted).abs() < 1e-4, "{sums:?} for {wanted}");
        assert!((sums[1] - (f64::from(frames) - wanted)).abs() < 1e-4, "{sums:?}");
        let spanned = whole.slot_s() * whole.rows().count() as f64;
        assert!(spanned >= f64::from(frames) * 0.25, "{spanned} s");
        let tops: Vec<f32> = whole.rows().map(|row| row[0].top).collect();
        assert!(tops.iter().all(|top| (*top - 0.75).abs() < 1e-6), "{tops:?}");
    }
}
