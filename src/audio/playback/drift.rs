//! How fast a ring has to be emptied so that it stays as full as it is to be.

/// How quickly the loop follows, rad/s: a minute or so for a clock that is off, so that blocks that
/// come in bursts do not sway the pitch.
const LOOP_RAD_PER_S: f64 = 0.1;

/// Time constant of the mean over blocks, s.
const MEAN_S: f64 = 1.5;

/// Furthest from 1, either way. Crystals are within 100 ppm (data sheets), 300 in bad cases; a
/// change of pitch by 2,000 ppm is 3.5 cents, and listeners tell some 5 (handbooks, from memory).
const FURTHEST: f64 = 2e-3;

/// A proportional and integral loop at critical damping.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    target_s: f64,
    mean_s: Option<f64>,
    steady: f64,
}

impl Drift {
    /// For a ring that is to hold `target_s` of sound.
    pub fn new(target_s: f64) -> Self {
        Self { target_s, mean_s: None, steady: 0.0 }
    }

    /// The speed, about 1, at which to empty it, from how much it holds now and how long ago that was
    /// last asked. Above 1 when too much lies there.
    pub fn speed(&mut self, held_s: f64, since_s: f64) -> f64 {
        let since_s = since_s.clamp(0.0, 1.0);
        let before_s = self.mean_s.unwrap_or(held_s);
        let mean_s = before_s + (held_s - before_s) * (since_s / (since_s + MEAN_S));
        self.mean_s = Some(mean_s);
        let above_s = mean_s - self.target_s;
        let quick = 2.0 * LOOP_RAD_PER_S * above_s;
        let steady = self.steady + LOOP_RAD_PER_S * LOOP_RAD_PER_S * above_s * since_s;
        // What is learned of the clocks waits while the speed is at its end.
        if (quick + steady).abs() < FURTHEST {
            self.steady = steady;
        }
        1.0 + (quick + self.steady).clamp(-FURTHEST, FURTHEST)
    }

    /// What was held is no longer so: begins anew, but remembers how the clocks differ.
    pub fn again(&mut self) {
        self.mean_s = None;
    }
}
