//! When each frame is due, from when frames arrive.
//!
//! Frames arrive in bursts, one for each block of sound, and never before their sound has been
//! heard. The frames that arrive soonest for their numbers show the sound's clock against this one;
//! every frame is due one block after that, so that the frames of a block go out evenly until the
//! next comes. The soonest of the last second or two is used, which follows clocks that drift.

use crate::units::Rate;

/// What came earlier than this, s, has no say any more, or half of it.
const SPAN_S: f64 = 1.0;

/// The longest block that is learned, s. Longer ones have to be told.
const LONGEST_LEARNED_S: f64 = 0.1;

/// Lowest and highest of the last one to two spans.
#[derive(Debug, Clone, Copy)]
struct Window {
    since_s: f64,
    old: (f64, f64),
    new: (f64, f64),
}

impl Window {
    fn new(value: f64, at_s: f64) -> Self {
        Self { since_s: at_s, old: (value, value), new: (value, value) }
    }

    fn add(&mut self, value: f64, at_s: f64) {
        if at_s - self.since_s > SPAN_S {
            *self = Self { since_s: at_s, old: self.new, new: (value, value) };
        }
        self.new = (self.new.0.min(value), self.new.1.max(value));
    }

    fn low(&self) -> f64 {
        self.old.0.min(self.new.0)
    }

    fn high(&self) -> f64 {
        self.old.1.max(self.new.1)
    }
}

/// Says when each frame is due. Times are seconds of one steady clock of the caller's.
#[derive(Debug, Clone)]
pub struct Pacer {
    rate: Rate,
    block_s: Option<f64>,
    late_s: f64,
    offset: Option<Window>,
}

impl Pacer {
    /// Of frames at `rate` that come in blocks of `block_s` (`None`: learn it) and may go out
    /// `late_s` after they are due.
    pub fn new(rate: Rate, block_s: Option<f64>, late_s: f64) -> Self {
        Self { rate, block_s, late_s, offset: None }
    }

    /// A frame arrived.
    pub fn arrived(&mut self, number: u32, at_s: f64) {
        let offset_s = at_s - self.time_s(number);
        let follows = |window: &Window| {
            let above_s = offset_s - window.low();
            above_s <= self.block_s(window) + self.late_s && above_s >= -LONGEST_LEARNED_S
        };
        // The first, or numbers and time have leapt against each other: begin anew. Otherwise
        // whoever pauses would have every frame called late for a while.
        let mut window = self.offset.filter(follows).unwrap_or(Window::new(offset_s, at_s));
        window.add(offset_s, at_s);
        self.offset = Some(window);
    }

    /// When frame `number` is due; `None` before any frame arrived.
    pub fn due_s(&self, number: u32) -> Option<f64> {
        let window = self.offset.as_ref()?;
        Some(self.time_s(number) + window.low() + self.block_s(window))
    }

    /// Whether frame `number` is too late to go out.
    pub fn is_stale(&self, number: u32, now_s: f64) -> bool {
        self.due_s(number).is_some_and(|due_s| now_s > due_s + self.late_s)
    }

    fn block_s(&self, window: &Window) -> f64 {
        let learned = || (window.high() - window.low()).min(LONGEST_LEARNED_S);
        self.block_s.unwrap_or_else(learned)
    }

    fn time_s(&self, number: u32) -> f64 {
        self.rate.time_of(u64::from(number)).0
    }
}
