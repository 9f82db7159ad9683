//! The even pulse through the newest beats: finer than the tempos that states know.
//!
//! Tempos of states lie some 2 % apart and beats fall on ticks, so one beat ahead a state is up to
//! a dozen milliseconds off. A straight line through the last beats (least squares, as in any
//! textbook) averages that out; few enough of them that a drift of the tempo is followed.

/// Beats that the line goes through.
const RECENT: usize = 6;
/// How far a beat may lie from where the line or the last beat and the tempo expect it, as a share
/// of a beat: past it, a new pulse begins.
const OFF: f64 = 0.12;
/// How far the line may lead away from what the states say, as a share of a beat: about as much as
/// they round. Past it, the tempo has begun to change.
const ROUNDED: f64 = 0.03;

/// The last beats, in ticks.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Pulse {
    /// The newest last; before the first ones come whatever was left.
    beats: [f64; RECENT],
    count: usize,
}

/// Where the newest beat lies on the line, and the length of a beat, in ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    pub(super) newest: f64,
    pub(super) period: f64,
}

impl Pulse {
    /// Takes a beat in. Says whether it goes on with the pulse, given the length of a beat as the
    /// states have it.
    pub(super) fn beat(&mut self, tick: f64, period: f64) -> bool {
        let [.., last] = self.beats;
        let goes_on = self.count > 0 && libm::fabs(tick - last - period) < OFF * period;
        if !goes_on {
            self.count = 0;
        }
        self.beats.rotate_left(1);
        if let Some(newest) = self.beats.last_mut() {
            *newest = tick;
        }
        self.count = (self.count + 1).min(RECENT);
        goes_on
    }

    /// The line, once three beats lie on it.
    pub(super) fn line(&self) -> Option<Line> {
        if self.count < 3 {
            return None;
        }
        let beats = self.beats.iter().skip(RECENT - self.count).copied();
        let count = self.count as f64;
        let middle = 0.5 * (count - 1.0);
        let mean = beats.clone().sum::<f64>() / count;
        let (mut rise, mut run) = (0.0, 0.0);
        for (n, beat) in beats.enumerate() {
            let off = n as f64 - middle;
            rise += off * (beat - mean);
            run += off * off;
        }
        let period = rise / run;
        Some(Line { newest: mean + middle * period, period })
    }

    /// The next beat and the length of a beat, in ticks, given what the states say of both: theirs
    /// where the line says something else altogether.
    pub(super) fn refine(&self, next: f64, period: f64) -> (f64, f64) {
        let Some(line) = self.line() else { return (next, period) };
        let turns = libm::floor((next - line.newest) / line.period + 0.5);
        let on_line = line.newest + turns * line.period;
        let agrees = libm::fabs(line.period - period) < ROUNDED * period
            && libm::fabs(on_line - next) < ROUNDED * period;
        if agrees { (on_line, line.period) } else { (next, period) }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "whole and half numbers are exact")]
mod tests {
    use super::*;

    fn pulse(beats: &[f64]) -> Pulse {
        let mut pulse = Pulse::default();
        for &tick in beats {
            pulse.beat(tick, 60.0);
        }
        pulse
    }

    /// Through (0, 0), (1, 60), (2, 123): slope 61.5, mean 61, so 122.5 at the last.
    #[test]
    fn a_line_worked_by_hand() {
        let line = pulse(&[0.0, 60.0, 123.0]).line().unwrap();
        assert_eq!(line, Line { newest: 122.5, period: 61.5 });
        assert_eq!(pulse(&[0.0, 60.0]).line(), None);
    }

    /// 61.25 ticks a beat, of which states see 60 and whole ticks.
    #[test]
    fn what_states_round_is_averaged_out() {
        let beats: Vec<f64> = (0..12).map(|n| (61.25 * f64::from(n)).round()).collect();
        let newest = *beats.last().unwrap();
        let (next, period) = pulse(&beats).refine(newest + 60.0, 60.0);
        assert!((period - 61.25).abs() < 0.15, "{period}");
        assert!((next - 12.0 * 61.25).abs() < 0.5, "{next}");
        // Two beats on, as the states have it, is two beats on.
        let (next, _) = pulse(&beats).refine(newest + 121.0, 60.0);
        assert!((next - 13.0 * 61.25).abs() < 0.5, "{next}");
    }

    #[test]
    fn another_place_or_tempo_begins_anew() {
        let mut steady = pulse(&[0.0, 60.0, 120.0, 180.0]);
        // States that have gone over to twice the tempo, or to the middle between beats.
        assert_eq!(steady.refine(210.0, 30.0), (210.0, 30.0));
        assert_eq!(steady.refine(210.0, 60.0), (210.0, 60.0));
        assert!(steady.beat(240.0, 60.0));
        assert!(!steady.beat(270.0, 60.0) && steady.line().is_none());
    }
}
