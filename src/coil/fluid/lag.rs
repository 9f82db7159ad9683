//! How late the fluid follows its coil, in one number for each way, and the model behind it.

use super::response::Response;
use crate::units::Seconds;

/// Where a unit step of y'' + 2 w y' + w^2 y = w^2 q, at critical damping, reaches 10 and 90 %, in
/// units of 1/w: (1 + x) exp(-x) = 0.9 and 0.1 (computed).
const AT_10: f64 = 0.531_811_608_389_612_4;
const AT_90: f64 = 3.889_720_169_867_429;

/// One way: the pull changes, nothing moves for the dead time, then the fluid follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Time in which nothing is seen to move.
    pub dead: Seconds,
    /// What comes then.
    pub response: Response,
}

impl Way {
    /// By natural frequency in hertz and damping.
    pub fn new(dead: Seconds, natural_hz: f64, damping: f64) -> Self {
        let natural_rad_per_s = std::f64::consts::TAU * natural_hz;
        Self { dead, response: Response { natural_rad_per_s, damping } }
    }

    /// From a video of one coil that is switched: the times after the switching at which the fluid
    /// has gone 10 and 90 % of its way. Two times do not tell damping: the critical one is taken, as
    /// films on the wall damp strongly. `None` when no such response begins at or after the
    /// switching.
    pub fn from_video(t10: Seconds, t90: Seconds) -> Option<Self> {
        let natural_rad_per_s = (AT_90 - AT_10) / (t90.0 - t10.0);
        let dead = t10.0 - AT_10 / natural_rad_per_s;
        let possible = natural_rad_per_s > 0.0 && natural_rad_per_s.is_finite() && dead >= -1e-12;
        let response = Response { natural_rad_per_s, damping: 1.0 };
        possible.then(|| Self { dead: Seconds(dead.max(0.0)), response })
    }

    /// How much later the fluid moves than it is told: until a stroke has taken it half of its way.
    /// Slow motion follows by the dead time and twice the damping over the natural frequency, some
    /// milliseconds less where the fluid overshoots and more where it creeps.
    pub fn lag(&self) -> Seconds {
        Seconds(self.dead.0 + self.response.half().0)
    }
}

/// Both ways: fluid is pulled up and falls by itself, so they may differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lag {
    /// When the pull grows.
    pub rise: Way,
    /// When it shrinks.
    pub fall: Way,
}

impl Lag {
    /// How far frames have to lead: what is seen as the stroke is the rise.
    pub fn lead(&self) -> Seconds {
        self.rise.lag()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rises of a unit step by the exact step, in fine ones: when it has gone 10 and 90 %.
    fn times_s(way: &Way) -> [f64; 2] {
        let step = way.response.step(Seconds(1e-5));
        let (mut state, mut now_s, mut found) = ([0.0, 0.0], way.dead.0, [f64::NAN; 2]);
        while found[1].is_nan() && now_s < 10.0 {
            state = step.next(state, 1.0);
            now_s += 1e-5;
            for (time, level) in found.iter_mut().zip([0.1, 0.9]) {
                if time.is_nan() && state[0] >= level {
                    *time = now_s;
                }
            }
        }
        found
    }

    #[test]
    fn what_a_video_shows_is_what_the_model_does() {
        for (t10, t90) in [(0.03, 0.12), (0.06, 0.16), (0.016, 0.1165)] {
            let way = Way::from_video(Seconds(t10), Seconds(t90));
            let found = way.as_ref().map_or([f64::NAN; 2], times_s);
            assert!((found[0] - t10).abs() < 3e-5 && (found[1] - t90).abs() < 3e-5, "{found:?}");
        }
    }

    #[test]
    fn a_video_that_begins_before_the_switching_is_refused() {
        assert_eq!(Way::from_video(Seconds(0.005), Seconds(0.2)), None);
        assert_eq!(Way::from_video(Seconds(0.2), Seconds(0.2)), None);
        assert_eq!(Way::from_video(Seconds(0.2), Seconds(0.1)), None);
        assert_eq!(Way::from_video(Seconds(f64::NAN), Seconds(0.1)), None);
    }

    /// At critical damping (1 + x) exp(-x) = 1/2 at x = 1.678347 (computed); without damping
    /// 1 - cos(x) = 1/2 at x = pi/3.
    #[test]
    fn lag_worked_by_hand() {
        let way = Way::new(Seconds(0.042), 20.0 / std::f64::consts::TAU, 1.0);
        assert!((way.lag().0 - 0.042 - 1.678_347 / 20.0).abs() < 2e-6, "{:?}", way.lag());
        let free = Response { natural_rad_per_s: 20.0, damping: 0.0 };
        assert!((free.half().0 - std::f64::consts::FRAC_PI_3 / 20.0).abs() < 2e-6);
        let other = Way { dead: Seconds(0.5), ..way };
        assert_eq!(Lag { rise: way, fall: other }.lead(), way.lag());
    }
}
