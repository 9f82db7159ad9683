//! The instruments of the demo song: oscillators and decays that cost a few multiplications a
//! sample and give the same bits everywhere.

use crate::audio::noise::White;

/// All instruments and the mixing desk.
#[derive(Debug, Clone)]
pub(super) struct Band {
    pub(super) kick: Kick,
    pub(super) snare: Snare,
    pub(super) hat: Hat,
    pub(super) bass: Bass,
    pub(super) pad: Pad,
    /// How hard the mix is pushed into the rounding-off at full scale.
    pub(super) drive: f64,
    hiss: White,
}

impl Band {
    pub(super) fn new(rate_hz: u32) -> Self {
        let rate = f64::from(rate_hz);
        Self {
            kick: Kick {
                tick: 1.0 / rate,
                fall: decay(0.02, rate),
                fade: decay(0.14, rate),
                ..Kick::default()
            },
            snare: Snare::new(rate),
            hat: Hat::new(rate),
            bass: Bass {
                tick: 1.0 / rate,
                fade: decay(0.4, rate),
                rise: decay(0.002, rate),
                ..Bass::default()
            },
            pad: Pad { tick: 1.0 / rate, slew: decay(0.12, rate), ..Pad::default() },
            drive: 1.0,
            hiss: White::new(3, 1e-4),
        }
    }

    /// Left and right, within -1 to 1.
    pub(super) fn next_instant(&mut self) -> [f64; 2] {
        let middle = 0.8 * self.kick.next_sample()
            + 0.34 * self.bass.next_sample()
            + 0.4 * self.snare.next_sample();
        let hat = 0.16 * self.hat.next_sample();
        let [pad_left, pad_right] = self.pad.next_instant();
        let left = middle + 0.6 * hat + 0.1 * pad_left;
        let right = middle + 1.0 * hat + 0.1 * pad_right;
        [left, right].map(|side| round_off(side * self.drive) * 0.97 + self.hiss.next_sample())
    }
}

/// Straight for small values, 1 at 3 and beyond.
fn round_off(x: f64) -> f64 {
    let x = x.clamp(-3.0, 3.0);
    x * (27.0 + x * x) / (27.0 + 9.0 * x * x)
}

/// A sine to a part in a thousand: two parabolas, the second to correct the first.
fn wave(turns: f64) -> f64 {
    let x = turns - (turns + 0.5).floor();
    let arc = 8.0 * x - 16.0 * x * x.abs();
    arc + 0.225 * (arc * arc.abs() - arc)
}

/// Factor per sample of something that falls to 37 % in `seconds`.
fn decay(seconds: f64, rate: f64) -> f64 {
    libm::exp(-1.0 / (seconds * rate))
}

/// Frequency of a note, semitones above the A of 55 Hz, equal temperament (A4 = 440 Hz, ISO 16).
fn note_hz(semitones: i32) -> f64 {
    55.0 * libm::exp2(f64::from(semitones) / 12.0)
}

/// A sine that drops in pitch.
#[derive(Debug, Clone, Default)]
pub(super) struct Kick {
    tick: f64,
    fall: f64,
    fade: f64,
    phase: f64,
    above_hz: f64,
    level: f64,
}

impl Kick {
    pub(super) fn hit(&mut self) {
        self.phase = 0.0;
        self.above_hz = 120.0;
        self.level = 1.0;
    }

    fn next_sample(&mut self) -> f64 {
        let sample = wave(self.phase) * self.level;
        self.phase += (46.0 + self.above_hz) * self.tick;
        self.above_hz *= self.fall;
        self.level *= self.fade;
        sample
    }
}

/// Noise and a short tone under it.
#[derive(Debug, Clone)]
pub(super) struct Snare {
    noise: White,
    phase: f64,
    step: f64,
    fade: f64,
    level: f64,
}

impl Snare {
    fn new(rate: f64) -> Self {
        Self {
            noise: White::new(1, 1.0),
            phase: 0.0,
            step: 190.0 / rate,
            fade: decay(0.06, rate),
            level: 0.0,
        }
    }

    pub(super) fn hit(&mut self) {
        self.phase = 0.0;
        self.level = 1.0;
    }

    fn next_sample(&mut self) -> f64 {
        let sample = (0.7 * self.noise.next_sample() + 0.5 * wave(self.phase)) * self.level;
        self.phase += self.step;
        self.level *= self.fade;
        sample
    }
}

/// Noise without its low end.
#[derive(Debug, Clone)]
pub(super) struct Hat {
    noise: White,
    before: f64,
    fade: f64,
    level: f64,
}

impl Hat {
    fn new(rate: f64) -> Self {
        Self { noise: White::new(2, 1.0), before: 0.0, fade: decay(0.025, rate), level: 0.0 }
    }

    pub(super) fn hit(&mut self) {
        self.level = 1.0;
    }

    fn next_sample(&mut self) -> f64 {
        let noise = self.noise.next_sample();
        let sample = (noise - self.before) * self.level;
        self.before = noise;
        self.level *= self.fade;
        sample
    }
}

/// Three harmonics of a low note.
#[derive(Debug, Clone, Default)]
pub(super) struct Bass {
    tick: f64,
    fade: f64,
    rise: f64,
    phase: f64,
    step: f64,
    target: f64,
    level: f64,
}

impl Bass {
    pub(super) fn hit(&mut self, semitones: i32) {
        self.step = note_hz(semitones) * self.tick;
        self.target = 1.0;
    }

    pub(super) fn stop(&mut self) {
        self.target = 0.0;
    }

    fn next_sample(&mut self) -> f64 {
        // The level follows its target in two milliseconds, which keeps new notes from clicking.
        self.level = self.target + (self.level - self.target) * self.rise;
        self.target *= self.fade;
        self.phase += self.step;
        let tone = wave(self.phase) + 0.4 * wave(2.0 * self.phase) + 0.15 * wave(3.0 * self.phase);
        tone * self.level
    }
}

/// Three notes, a little flat on the left and a little sharp on the right.
#[derive(Debug, Clone, Default)]
pub(super) struct Pad {
    tick: f64,
    slew: f64,
    steps: [f64; 3],
    left: [f64; 3],
    right: [f64; 3],
    target: f64,
    level: f64,
}

/// Share by which each side is out of tune.
const DETUNE: f64 = 0.003;

impl Pad {
    /// Holds these notes from now on; `None` lets go.
    pub(super) fn hold(&mut self, notes: Option<[i32; 3]>) {
        self.target = if notes.is_some() { 1.0 } else { 0.0 };
        if let Some(notes) = notes {
            self.steps = notes.map(|note| note_hz(note) * self.tick);
        }
    }

    fn next_instant(&mut self) -> [f64; 2] {
        self.level = self.target + (self.level - self.target) * self.slew;
        let left = turn(&mut self.left, self.steps, 1.0 - DETUNE);
        let right = turn(&mut self.right, self.steps, 1.0 + DETUNE);
        [left * self.level, right * self.level]
    }
}

fn turn(phases: &mut [f64; 3], steps: [f64; 3], detune: f64) -> f64 {
    let mut sum = 0.0;
    for (phase, step) in phases.iter_mut().zip(steps) {
        *phase += step * detune;
        sum += wave(*phase) + 0.25 * wave(3.0 * *phase);
    }
    sum
}
