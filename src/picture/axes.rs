//! Scales with round numbers on them.

use super::canvas::Rect;

/// A value axis drawn upwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ValueAxis {
    /// Value at the bottom.
    pub low: f64,
    /// Value at the top, above `low`.
    pub high: f64,
    rect: Rect,
}

impl ValueAxis {
    /// From `low` at the bottom of the rectangle to `high` at its top.
    pub fn new(low: f64, high: f64, rect: Rect) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { low, high, rect }
    }

    /// Height of a value in pixels; what lies outside the axis stays at its ends.
    pub fn y(&self, value: f64) -> f64 {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.rect.bottom - share * self.rect.height()
    }

    /// Round values inside the axis, at most this many.
    pub fn ticks(&self, at_most: f64) -> Vec<f64> {
        let step = round_step((self.high - self.low) / at_most.max(1.0));
        multiples(step, self.low, self.high)
    }

    /// Ticks far enough apart for text of this height.
    pub fn ticks_for(&self, text_height: f64) -> Vec<f64> {
        self.ticks(self.rect.height() / (1.9 * text_height))
    }
}

/// The smallest of 1, 2 and 5 times a power of ten that is no less than `least`.
pub fn round_step(least: f64) -> f64 {
    if !(least > 0.0 && least.is_finite()) {
        return 1.0;
    }
    let decade = libm::pow(10.0, libm::floor(libm::log10(least)));
    let factors = [1.0, 2.0, 5.0, 10.0];
    // A least value that is a round one but for its last bit is that round one.
    factors.iter().map(|f| f * decade).find(|s| *s >= least * (1.0 - 1e-9)).unwrap_or(10.0 * decade)
}

/// Multiples of `step` from `low` to `high`.
fn multiples(step: f64, low: f64, high: f64) -> Vec<f64> {
    let first = (low / step - 1e-9).ceil();
    (0..1000_u32)
        .map(|n| (first + f64::from(n)) * step)
        .take_while(|value| *value <= high + 1e-9 * step)
        .collect()
}

/// A number with as many digits as matter: 3 at most, no trailing zeros after the point.
pub fn short(value: f64) -> String {
    let decimals = match value.abs() {
        size if size >= 99.95 => 0,
        size if size >= 9.995 => 1,
        _ => 2,
    };
    let text = format!("{value:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    match text {
        "-0" => "0".to_owned(),
        text => text.replace('-', "−"),
    }
}

/// A frequency in Hz, thousands written with `k`.
pub fn short_hz(hz: f64) -> String {
    if hz >= 999.5 { short(hz / 1000.0) + "k" } else { short(hz) }
}

/// Steps of a time axis, seconds. The first is written with a tenth, the others whole.
const TIME_STEPS_S: [f64; 17] = [
    0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0,
    7200.0, 21600.0,
];

/// Round times from 0 to the end, at most about this many, and the step between them.
pub fn time_ticks(length_s: f64, at_most: f64) -> (Vec<f64>, f64) {
    let least = length_s / at_most.max(1.0);
    let days = round_step(least / 86_400.0).max(1.0) * 86_400.0;
    let step = TIME_STEPS_S.into_iter().find(|step| *step >= least).unwrap_or(days);
    (multiples(step, 0.0, length_s), step)
}

/// A time as minutes:seconds, or hours:minutes:seconds from one hour on. Rounds down, as a clock
/// does.
pub fn clock(time_s: f64) -> String {
    clock_on_axis(time_s, 1.0, time_s)
}

/// A time as one of many on an axis that ends at `end_s`: with hours where the end has hours, with
/// tenths where the step is finer than a second.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "times are positive")]
pub fn clock_on_axis(time_s: f64, step_s: f64, end_s: f64) -> String {
    let tenths = (time_s.max(0.0) * 10.0 + 1e-6).floor() as u64;
    let (seconds, tenth) = (tenths / 10, tenths % 10);
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    let whole = if end_s >= 3600.0 { format!("{h}:{m:02}:{s:02}") } else { format!("{m}:{s:02}") };
    if step_s < 1.0 { format!("{whole}.{tenth}") } else { whole }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn times_read_like_a_clock() {
        assert_eq!(clock(0.0), "0:00");
        assert_eq!(clock(83.96), "1:23");
        assert_eq!(clock(3600.0), "1:00:00");
        assert_eq!(clock(7384.5), "2:03:04");
        assert_eq!(clock_on_axis(0.3, 0.1, 1.0), "0:00.3");
        assert_eq!(clock_on_axis(600.0, 600.0, 7200.0), "0:10:00");
    }

    #[test]
    fn ticks_are_round_and_few_at_any_length() {
        for (length, step) in [(0.9, 0.1), (10.0, 1.0), (600.0, 60.0), (7200.0, 600.0)] {
            assert_eq!(time_ticks(length, 12.0).1, step, "{length} s");
        }
        for length in [0.01, 1.0, 59.0, 3599.0, 1e5, 1e7] {
            assert!(time_ticks(length, 12.0).0.len() <= 13, "{length} s");
        }
        let axis = ValueAxis::new(20.0, 111.0, Rect { bottom: 100.0, ..Rect::default() });
        assert_eq!(axis.ticks(5.0), [20.0, 40.0, 60.0, 80.0, 100.0]);
        assert_eq!(axis.y(20.0), 100.0);
        assert_eq!(axis.y(111.0), 0.0);
    }

    #[test]
    fn numbers_are_short() {
        let texts = [3.0, 0.25, 12.34, 250.4, -0.001, -60.0].map(short);
        assert_eq!(texts, ["3", "0.25", "12.3", "250", "0", "−60"]);
        assert_eq!(short_hz(44.67), "44.7");
        assert_eq!(short_hz(11220.0), "11.2k");
    }
}
