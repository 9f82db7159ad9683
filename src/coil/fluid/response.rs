//! How the fluid follows: a second-order lag, stepped exactly.

use crate::units::Seconds;

/// y'' + 2 damping w y' + w^2 y = w^2 q.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// w, rad/s.
    pub natural_rad_per_s: f64,
    /// Share of critical damping; above 0.
    pub damping: f64,
}

/// One exact step for an input that holds still: state (y, y') to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// By rows.
    pub state: [[f64; 2]; 2],
    /// What the input adds.
    pub input: [f64; 2],
}

impl Response {
    /// The step over a time: the matrix exponential in closed form, so any step is stable.
    pub fn step(&self, time: Seconds) -> Step {
        let (w, zeta, dt) = (self.natural_rad_per_s, self.damping, time.0);
        let fade = libm::exp(-zeta * w * dt);
        // Cosine and sine over frequency, of real or imaginary frequency.
        let square = 1.0 - zeta * zeta;
        let turned = w * square.abs().sqrt();
        let (cosine, sine) = if turned * dt < 1e-8 {
            (1.0, dt)
        } else if square > 0.0 {
            (libm::cos(turned * dt), libm::sin(turned * dt) / turned)
        } else {
            (libm::cosh(turned * dt), libm::sinh(turned * dt) / turned)
        };
        let push = zeta * w * sine;
        let first = fade * (cosine + push);
        let pull = fade * w * w * sine;
        Step {
            state: [[first, fade * sine], [-pull, fade * (cosine - push)]],
            input: [1.0 - first, pull],
        }
    }

    /// Until a unit step has gone half of its way: what a stroke needs. First crossing, to a
    /// microsecond.
    pub fn half(&self) -> Seconds {
        let height = |t: f64| self.step(Seconds(t)).input[0];
        let (mut low, mut high) = (0.0, 0.5 / self.natural_rad_per_s);
        for _ in 0..60 {
            if height(high) >= 0.5 {
                break;
            }
            (low, high) = (high, 2.0 * high);
        }
        while high - low > 1e-6 {
            let middle = f64::midpoint(low, high);
            // What cannot be halved any more is as good as found.
            if middle <= low || middle >= high {
                break;
            }
            if height(middle) < 0.5 {
                low = middle;
            } else {
                high = middle;
            }
        }
        Seconds(high)
    }
}

impl Step {
    /// The next state.
    pub fn next(&self, [y, speed]: [f64; 2], input: f64) -> [f64; 2] {
        let [[a, b], [c, d]] = self.state;
        let [into_y, into_speed] = self.input;
        [a * y + b * speed + into_y * input, c * y + d * speed + into_speed * input]
    }
}
