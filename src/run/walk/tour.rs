//! Which coil moves?

use super::{Action, Next, Round, Said, Seen};
use crate::units::Share;

/// What is wrong with a coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Nothing moves.
    Dead,
    /// It draws too much.
    Shorted,
    /// Another coil moves: its number within the group, from 1, where it was given.
    Swapped(Option<u32>),
}

/// Duty of the first pulses: seen on most displays, and far from full.
const STRENGTH: f64 = 0.4;

/// Stronger and weaker by this much.
const STEP: f64 = 0.1;

/// Rest after each pulse of a timed tour, as a part of its length.
const REST: f64 = 0.25;

/// Pulses each coil once, and waits for what the onlooker says; or goes on by itself.
#[derive(Debug, Clone)]
pub struct Tour {
    marks: Vec<Option<Mark>>,
    seen: Vec<bool>,
    at: usize,
    strength: f64,
    pulse_s: f64,
    timed: bool,
    began_s: Option<f64>,
    number: Option<u32>,
    over: bool,
}

impl Tour {
    /// Over so many coils, with pulses of `pulse_s` seconds; `timed`: on to the next by itself.
    pub fn new(coils: usize, pulse_s: f64, timed: bool) -> Self {
        Self {
            marks: vec![None; coils],
            seen: vec![false; coils],
            at: 0,
            strength: STRENGTH,
            pulse_s,
            timed,
            began_s: None,
            number: None,
            over: coils == 0,
        }
    }

    /// What each coil was marked as.
    pub fn marks(&self) -> &[Option<Mark>] {
        &self.marks
    }

    /// How many coils had their turn.
    pub fn seen(&self) -> usize {
        self.seen.iter().filter(|seen| **seen).count()
    }

    fn act(&mut self, action: Action, say: &mut dyn FnMut(Said)) {
        let number = self.number.take();
        match action {
            Action::Next | Action::Now => self.go(self.at + 1),
            Action::Back => self.go(self.at.saturating_sub(1)),
            Action::Repeat => self.go(self.at),
            Action::Stronger => self.strengthen(STEP, say),
            Action::Weaker => self.strengthen(-STEP, say),
            Action::Digit(digit) => {
                self.number =
                    number.unwrap_or(0).checked_mul(10).and_then(|n| n.checked_add(digit));
            }
            Action::Dead => self.mark(Some(Mark::Dead), say),
            Action::Shorted => self.mark(Some(Mark::Shorted), say),
            Action::Swapped => self.mark(Some(Mark::Swapped(number)), say),
            Action::Unmark => self.mark(None, say),
            Action::Stop => self.over = true,
        }
    }

    fn go(&mut self, to: usize) {
        self.began_s = None;
        self.at = to;
        self.over = to >= self.marks.len();
    }

    fn strengthen(&mut self, by: f64, say: &mut dyn FnMut(Said)) {
        // Whole tenths, so that up and down meet again.
        self.strength = (((self.strength + by) * 10.0).round() / 10.0).clamp(STEP, 1.0);
        say(Said::Strength(self.strength));
        self.began_s = None;
    }

    fn mark(&mut self, mark: Option<Mark>, say: &mut dyn FnMut(Said)) {
        if let Some(slot) = self.marks.get_mut(self.at) {
            *slot = mark;
            say(Said::Marked { coil: self.at, mark });
        }
        // A coil that draws too much gets no more than it had.
        if mark == Some(Mark::Shorted) {
            self.began_s = Some(f64::NEG_INFINITY);
        }
    }
}

impl Round for Tour {
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next {
        if let Some(action) = seen.action {
            self.act(action, say);
        }
        if self.over {
            return Next::Done;
        }
        let began_s = match self.began_s {
            Some(began_s) => began_s,
            None => {
                say(Said::Turn { coil: self.at, share: self.strength });
                if let Some(had) = self.seen.get_mut(self.at) {
                    *had = true;
                }
                *self.began_s.insert(seen.now_s)
            }
        };
        let past_s = seen.now_s - began_s;
        if past_s < self.pulse_s {
            return Next::Drive(self.at, Share::saturating(self.strength));
        }
        if self.timed && past_s >= self.pulse_s * (1.0 + REST) {
            self.go(self.at + 1);
            if self.over {
                return Next::Done;
            }
        }
        Next::Rest(self.at)
    }
}
