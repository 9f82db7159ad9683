//! The fade to rest: hum and hiss between songs must not stir the fluid.
//!
//! While the sound counts as quiet a gain falls with the time constant the mapping names and is
//! exactly 0 once below a thousandth (6.9 time constants). When sound returns it is 1 again at once:
//! the first hit after a pause counts in full, and each route's own attack shapes it.

use super::envelope::part_per_frame;
use crate::units::Seconds;

/// Below this the gain is at its end.
const SETTLED: f64 = 1e-3;

/// The gain on all wishes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rest {
    gain: f64,
    fall: f64,
}

impl Rest {
    /// Starts at 1: a song's first hit counts in full.
    pub(super) fn new(rest: Seconds, period: Seconds) -> Self {
        Self { gain: 1.0, fall: part_per_frame(rest.0, period) }
    }

    /// Goes on by one frame and returns the gain for it.
    pub(super) fn follow(&mut self, quiet: bool) -> f64 {
        self.gain = if quiet {
            let fallen = self.gain - self.fall * self.gain;
            if fallen < SETTLED { 0.0 } else { fallen }
        } else {
            1.0
        };
        self.gain
    }

    /// The gain of the last frame.
    pub(super) fn gain(self) -> f64 {
        self.gain
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "the ends are exact")]
mod tests {
    use super::*;

    #[test]
    fn quiet_fades_to_exactly_nothing_and_sound_brings_it_back() {
        // 5 ms frames, 0.5 s to rest: 100 frames to 1/e; ln(1000) = 6.9078 time constants to 0.
        let mut rest = Rest::new(Seconds(0.5), Seconds(0.005));
        assert_eq!(rest.follow(false), 1.0);
        let trace: Vec<f64> = (0..691).map(|_| rest.follow(true)).collect();
        for (frame, share) in [(100, 0.36788), (200, 0.13534), (300, 0.04979), (690, 0.00101)] {
            let got = trace.get(frame - 1).copied().unwrap_or(9.0);
            assert!((got - share).abs() < 5e-6, "{got} after {frame} frames, by hand {share}");
        }
        assert_eq!(rest.gain(), 0.0, "at rest after 691 frames");
        assert_eq!(rest.follow(false), 1.0, "the first frame of returning sound counts in full");
    }

    #[test]
    fn no_time_to_rest_is_rest_at_once() {
        let mut rest = Rest::new(Seconds(0.0), Seconds(0.1));
        assert_eq!((rest.follow(true), rest.follow(false)), (0.0, 1.0));
    }
}
