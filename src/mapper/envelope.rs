//! How a value follows in time: peaks are held, then approached and left at their own pace.
//!
//! Two steps. The peak memory gives the highest value of the last frames; the follower goes towards
//! it as a first-order lag, exactly: a value that stays put from one frame to the next is approached
//! by 1 - exp(-period/time constant) of what is left. Both steps keep order, so a sound that is
//! louder throughout never moves the fluid less at any moment. (A hold that counts down from the
//! follower's own peaks would not: a loud hit could use up the hold that a later, softer one needs.)

use std::collections::VecDeque;

use super::error::{RouteFault, TIME_LIMITS_S, within};
use super::settings::EnvelopeSettings;
use crate::units::{Rate, Seconds};

/// Below this a value that falls towards 0 is 0: far finer than any driver's step.
const SETTLED: f64 = 1e-6;

/// Rounding up must not turn 7.000000000000001 frames into 8.
const FRAME_TOLERANCE: f64 = 1e-9;

/// Follows one band of one route.
#[derive(Debug)]
pub(super) struct Envelope {
    peaks: Peaks,
    /// Part of what is left that is covered in a frame, above 0 and at most 1.
    rise: f64,
    fall: f64,
    value: f64,
}

impl Envelope {
    /// Starts at 0.
    pub(super) fn new(settings: &EnvelopeSettings, rate: Rate) -> Result<Self, RouteFault> {
        let attack_s = within("attack_s", settings.attack_s.0, TIME_LIMITS_S, " s")?;
        let release_s = within("release_s", settings.release_s.0, TIME_LIMITS_S, " s")?;
        let hold_s = within("hold_s", settings.hold_s.0, TIME_LIMITS_S, " s")?;
        Ok(Self {
            peaks: Peaks::new(whole_frames(hold_s, rate)),
            rise: part_per_frame(attack_s, rate.period()),
            fall: part_per_frame(release_s, rate.period()),
            value: 0.0,
        })
    }

    /// Goes on by one frame in which 0 to 1 was heard.
    pub(super) fn follow(&mut self, heard: f64) -> f64 {
        let target = self.peaks.highest(heard.clamp(0.0, 1.0));
        let part = if target > self.value { self.rise } else { self.fall };
        self.value = if part < 1.0 { self.value + part * (target - self.value) } else { target };
        if target <= 0.0 && self.value < SETTLED {
            self.value = 0.0;
        }
        self.value
    }
}

/// 1 - exp(-period/time constant): what a first-order lag covers in one frame. 1 for no lag.
pub(super) fn part_per_frame(time_constant_s: f64, period: Seconds) -> f64 {
    if time_constant_s > 0.0 { -libm::expm1(-period.0 / time_constant_s) } else { 1.0 }
}

/// Time in frames, rounded up.
pub(super) fn whole_frames(time_s: f64, rate: Rate) -> u32 {
    let frames = (time_s * rate.per_second() - FRAME_TOLERANCE).ceil().max(0.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "0 to 60 s at no more than 1000 frames a second"
    )]
    let frames = frames as u32;
    frames
}

/// The highest of the newest values: falling values with the frame of each, newest last.
///
/// Not to be cloned: a cloned queue keeps its content, not its room, and would take memory later.
#[derive(Debug)]
struct Peaks {
    falling: VecDeque<(u64, f64)>,
    keep: u64,
    frame: u64,
}

impl Peaks {
    /// Remembers the newest value and `keep` before it.
    fn new(keep: u32) -> Self {
        let room = keep as usize + 1;
        Self { falling: VecDeque::with_capacity(room), keep: keep.into(), frame: 0 }
    }

    fn highest(&mut self, value: f64) -> f64 {
        let oldest = self.frame.saturating_sub(self.keep);
        while self.falling.front().is_some_and(|&(frame, _)| frame < oldest) {
            self.falling.pop_front();
        }
        while self.falling.back().is_some_and(|&(_, before)| before <= value) {
            self.falling.pop_back();
        }
        self.falling.push_back((self.frame, value));
        self.frame += 1;
        self.falling.front().map_or(value, |&(_, highest)| highest)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    /// 200 frames a second: 5 ms each.
    fn envelope(attack_s: f64, release_s: f64, hold_s: f64) -> Envelope {
        let settings = EnvelopeSettings {
            attack_s: Seconds(attack_s),
            release_s: Seconds(release_s),
            hold_s: Seconds(hold_s),
        };
        Envelope::new(&settings, Rate::new(200, 1).unwrap()).unwrap()
    }

    fn after(envelope: &mut Envelope, frames: usize, heard: f64) -> f64 {
        (0..frames).map(|_| envelope.follow(heard)).last().unwrap()
    }

    /// Percent of a step reached by a first-order lag after 1 to 5 time constants.
    /// Source: step response of first-order systems, any control textbook (for example Ogata,
    /// "Modern Control Engineering", ch. "Transient response analysis"); printed digits from memory.
    const STEP_PERCENT: [f64; 5] = [63.2, 86.5, 95.0, 98.2, 99.3];

    #[test]
    fn steps_reach_the_textbook_percentages() {
        let (mut rising, mut falling) = (envelope(0.1, 0.0, 0.0), envelope(0.0, 0.1, 0.0));
        falling.follow(1.0);
        for percent in STEP_PERCENT {
            let up = after(&mut rising, 20, 1.0) * 100.0;
            let down = after(&mut falling, 20, 0.0) * 100.0;
            assert!((up - percent).abs() <= 0.05, "rose to {up} %, book {percent} %");
            assert!((100.0 - down - percent).abs() <= 0.05, "fell to {down} %, book {percent} %");
        }
    }

    #[test]
    fn every_frame_of_a_step_lies_on_the_exponential() {
        for (tau_s, from, to) in [(0.02, 0.0, 0.8), (0.5, 0.9, 0.1), (0.003, 0.2, 1.0)] {
            let mut it = envelope(0.0, 0.0, 0.0);
            it.follow(from);
            it.rise = part_per_frame(tau_s, Seconds(0.005));
            it.fall = it.rise;
            for frame in 1..=100 {
                let closed = to + (from - to) * libm::exp(-f64::from(frame) * 0.005 / tau_s);
                let got = it.follow(to);
                assert!((got - closed).abs() < 1e-12, "{got} is not {closed} at frame {frame}");
            }
        }
    }

    #[test]
    fn without_attack_and_release_it_is_what_is_heard() {
        let mut it = envelope(0.0, 0.0, 0.0);
        for heard in [0.0, 0.3, 1.0, 0.1, 0.7, 0.0] {
            assert_eq!(it.follow(heard), heard);
        }
        assert_eq!((it.follow(7.0), it.follow(-7.0)), (1.0, 0.0));
    }

    /// Hold 11 ms is 2.2 frames of 5 ms: three whole frames.
    #[test]
    fn a_peak_stays_for_its_hold_and_each_new_peak_starts_it_again() {
        let mut it = envelope(0.0, 0.0, 0.011);
        let heard = [1.0, 0.0, 0.0, 0.0, 0.0, 0.6, 0.0, 0.8, 0.2, 0.1, 0.0, 0.0, 0.0];
        let moved = [1.0, 1.0, 1.0, 1.0, 0.0, 0.6, 0.6, 0.8, 0.8, 0.8, 0.8, 0.2, 0.1];
        for (frame, (heard, moved)) in heard.into_iter().zip(moved).enumerate() {
            assert_eq!(it.follow(heard), moved, "frame {frame}");
        }
    }

    #[test]
    fn after_the_hold_the_fall_is_exponential_and_ends_at_zero() {
        let mut it = envelope(0.0, 0.05, 0.1);
        it.follow(1.0);
        assert_eq!(after(&mut it, 20, 0.0), 1.0);
        let fallen = after(&mut it, 10, 0.0);
        assert!((fallen - 0.36787944117144233).abs() < 1e-12, "1/e after one release: {fallen}");
        // ln(1e6) = 13.8 releases of 50 ms in all.
        assert!(after(&mut it, 128, 0.0) > 0.0);
        assert_eq!(after(&mut it, 1, 0.0), 0.0);
    }

    #[test]
    fn holds_are_rounded_up_to_whole_frames() {
        let rate = Rate::new(200, 1).unwrap();
        for (time_s, frames) in [(0.0, 0), (0.001, 1), (0.005, 1), (0.0051, 2), (0.035, 7)] {
            assert_eq!(whole_frames(time_s, rate), frames, "{time_s} s");
        }
        assert_eq!(whole_frames(1.0, Rate::new(2997, 50).unwrap()), 60);
    }

    #[test]
    fn times_outside_their_range_are_refused() {
        for bad in [-0.001, 60.1, f64::NAN, f64::INFINITY] {
            for times in [(bad, 0.0, 0.0), (0.0, bad, 0.0), (0.0, 0.0, bad)] {
                let settings = EnvelopeSettings {
                    attack_s: Seconds(times.0),
                    release_s: Seconds(times.1),
                    hold_s: Seconds(times.2),
                };
                assert!(Envelope::new(&settings, Rate::new(200, 1).unwrap()).is_err());
            }
        }
    }
}
