//! At which duty does the fluid lift, and at which does it drop?

use super::{Action, Next, Round, Said, Seen};
use crate::units::Share;

/// Off before each coil, s: the fluid comes to rest.
const REST_S: f64 = 1.0;

/// How long a coil stays at the end of its ramp before it counts as missed, s.
const WAIT_S: f64 = 2.0;

/// Duty that is missing by more than this is missed.
const HAIR: f64 = 0.02;

/// Where one coil stands.
#[derive(Debug, Clone, Copy)]
enum Phase {
    /// Not begun.
    Fresh,
    Rest {
        since_s: f64,
    },
    Up {
        since_s: f64,
    },
    Down {
        since_s: f64,
        from: f64,
    },
}

/// Raises and lowers one coil after the other.
#[derive(Debug, Clone)]
pub struct LiftRound {
    lift_duty: Vec<Option<f64>>,
    drop_duty: Vec<Option<f64>>,
    at: usize,
    ramp_s: f64,
    phase: Phase,
    wished: f64,
    told: bool,
    over: bool,
}

impl LiftRound {
    /// Over so many coils; from nothing to full duty takes `ramp_s` seconds. A person who is late
    /// by 0.2 s is then wrong by 0.2 / `ramp_s`.
    pub fn new(coils: usize, ramp_s: f64) -> Self {
        Self {
            lift_duty: vec![None; coils],
            drop_duty: vec![None; coils],
            at: 0,
            ramp_s,
            phase: Phase::Fresh,
            wished: 0.0,
            told: false,
            over: coils == 0,
        }
    }

    /// Per coil, where it was seen to lift: the duty that was granted then.
    pub fn lift_duty(&self) -> &[Option<f64>] {
        &self.lift_duty
    }

    /// Per coil, where it was seen to drop: the duty that was granted then.
    pub fn drop_duty(&self) -> &[Option<f64>] {
        &self.drop_duty
    }

    fn go(&mut self, to: usize) {
        self.phase = Phase::Fresh;
        self.at = to;
        self.over = to >= self.lift_duty.len();
    }

    fn act(&mut self, action: Action, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) {
        let coil = self.at;
        match (action, self.phase) {
            (Action::Next, _) => self.go(coil + 1),
            (Action::Back, _) => self.go(coil.saturating_sub(1)),
            (Action::Repeat, _) => self.go(coil),
            (Action::Stop, _) => self.over = true,
            (Action::Now, Phase::Up { .. }) if seen.granted > 0.0 => {
                let duty = seen.granted;
                put(&mut self.lift_duty, coil, duty);
                self.phase = Phase::Down { since_s: seen.now_s, from: duty };
                say(Said::Lifted { coil, duty });
            }
            (Action::Now, Phase::Down { .. }) if seen.granted > 0.0 => {
                put(&mut self.drop_duty, coil, seen.granted);
                say(Said::Dropped { coil, duty: seen.granted });
                self.go(coil + 1);
            }
            _ => {}
        }
    }

    fn begin(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) {
        say(Said::Turn { coil: self.at, share: 0.0 });
        for results in [&mut self.lift_duty, &mut self.drop_duty] {
            if let Some(slot) = results.get_mut(self.at) {
                *slot = None;
            }
        }
        (self.wished, self.told) = (0.0, false);
        self.phase = Phase::Rest { since_s: seen.now_s };
    }

    fn drive(&mut self, share: f64) -> Next {
        self.wished = share.clamp(0.0, 1.0);
        Next::Drive(self.at, Share::saturating(self.wished))
    }
}

fn put(results: &mut [Option<f64>], coil: usize, duty: f64) {
    if let Some(slot) = results.get_mut(coil) {
        *slot = Some(duty);
    }
}

impl Round for LiftRound {
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next {
        if let Some(action) = seen.action {
            self.act(action, seen, say);
        }
        if self.over {
            return Next::Done;
        }
        if matches!(self.phase, Phase::Fresh) {
            self.begin(seen, say);
        }
        let coil = self.at;
        match self.phase {
            Phase::Up { since_s } => {
                if !self.told && seen.granted < self.wished - HAIR {
                    self.told = true;
                    say(Said::HeldBack { coil, granted: seen.granted });
                }
                let past_s = seen.now_s - since_s;
                if past_s < self.ramp_s + WAIT_S {
                    return self.drive(past_s / self.ramp_s);
                }
                say(Said::Missed { coil, lifted: false });
            }
            Phase::Down { since_s, from } => {
                let now = from - (seen.now_s - since_s) / self.ramp_s;
                if now > 0.0 {
                    return self.drive(now);
                }
                say(Said::Missed { coil, lifted: true });
            }
            Phase::Rest { since_s } if seen.now_s - since_s >= REST_S => {
                self.phase = Phase::Up { since_s: seen.now_s };
                return self.drive(0.0);
            }
            Phase::Fresh | Phase::Rest { .. } => return Next::Rest(coil),
        }
        self.go(coil + 1);
        if self.over { Next::Done } else { Next::Rest(self.at) }
    }
}
