//! Numbers that carry their unit, and the few types every stage shares.
//!
//! A unit type is a plain `f64` in a named wrapper: it prints with its symbol and does no
//! arithmetic of its own, so every conversion is visible where it happens. [`Share`] and [`Rate`]
//! are stricter: a value outside their range cannot be built.

use std::fmt;
use std::num::NonZeroU32;
use std::str::FromStr;

/// Declares a unit: a name, the symbol it prints with, nothing else.
macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                f.write_str(concat!(" ", $symbol))
            }
        }
    };
}

unit!(/// Frequency.
    Hertz, "Hz");
unit!(/// Time span.
    Seconds, "s");
unit!(/// Voltage.
    Volts, "V");
unit!(/// Current.
    Amps, "A");
unit!(/// Resistance.
    Ohms, "ohm");
unit!(/// Inductance.
    Henries, "H");
unit!(/// Power.
    Watts, "W");
unit!(/// Temperature on the Celsius scale.
    Celsius, "C");
unit!(/// Temperature difference.
    Kelvin, "K");
unit!(/// Thermal resistance.
    KelvinPerWatt, "K/W");
unit!(/// Thermal conductance.
    WattsPerKelvin, "W/K");
unit!(/// Heat capacity.
    JoulesPerKelvin, "J/K");
unit!(/// Length on the display front.
    Millimetres, "mm");
unit!(/// Level difference, or a level when the name says re what (`_dbfs`).
    Decibels, "dB");

/// A wish: how much of what a coil can do the music asks for, -1 to 1.
///
/// Negative wishes push the other way and need a bipolar driver. The field is private, so a share
/// outside its range cannot exist.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Share(f64);

impl Share {
    /// Nothing wished.
    pub const NONE: Self = Self(0.0);
    /// Everything, forwards.
    pub const ALL: Self = Self(1.0);

    /// For a number a person typed: `None` when it is not within -1 to 1.
    pub fn new(share: f64) -> Option<Self> {
        (-1.0..=1.0).contains(&share).then_some(Self(share))
    }

    /// For a number a stage computed: saturates at -1 and 1; NaN becomes [`Share::NONE`].
    pub fn saturating(share: f64) -> Self {
        if share.is_nan() { Self::NONE } else { Self(share.clamp(-1.0, 1.0)) }
    }

    /// As a plain number, -1 to 1.
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Number of a coil in display order, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CoilId(pub u32);

impl CoilId {
    /// As an index into arrays in display order.
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

impl fmt::Display for CoilId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "coil {}", self.0)
    }
}

/// Frames per second as a ratio of whole numbers, so that frame times never drift.
///
/// Kept in lowest terms. Written `200`, `59.94` (= 2997/50) or `60000/1001`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Rate {
    num: NonZeroU32,
    den: NonZeroU32,
}

/// Frame rates from one a second to a thousand.
const RATE_LIMITS_HZ: (f64, f64) = (1.0, 1000.0);

impl Rate {
    /// `num`/`den` frames per second; `None` outside 1 to 1000.
    pub fn new(num: u32, den: u32) -> Option<Self> {
        let divisor = greatest_common_divisor(num, den);
        let num = NonZeroU32::new(num.checked_div(divisor)?)?;
        let den = NonZeroU32::new(den.checked_div(divisor)?)?;
        let rate = Self { num, den };
        let per_second = rate.per_second();
        (per_second >= RATE_LIMITS_HZ.0 && per_second <= RATE_LIMITS_HZ.1).then_some(rate)
    }

    /// Numerator and denominator in lowest terms.
    pub fn ratio(self) -> (u32, u32) {
        (self.num.get(), self.den.get())
    }

    /// As frames per second.
    pub fn per_second(self) -> f64 {
        f64::from(self.num.get()) / f64::from(self.den.get())
    }

    /// Time from one frame to the next.
    pub fn period(self) -> Seconds {
        Seconds(f64::from(self.den.get()) / f64::from(self.num.get()))
    }

    /// Time of frame `number` on the sound's own clock.
    pub fn time_of(self, number: u64) -> Seconds {
        // Exact to the last bit of the quotient: both factors are whole numbers below 2^53 for
        // every song shorter than a century.
        Seconds(number as f64 * f64::from(self.den.get()) / f64::from(self.num.get()))
    }
}

fn greatest_common_divisor(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.ratio() {
            (num, 1) => write!(f, "{num}"),
            (num, den) => write!(f, "{num}/{den}"),
        }
    }
}

impl FromStr for Rate {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parsed = match text.split_once('/') {
            Some((num, den)) => num.trim().parse().ok().zip(den.trim().parse().ok()),
            None => decimal_ratio(text.trim()),
        };
        parsed.and_then(|(num, den)| Self::new(num, den)).ok_or_else(|| {
            format!(
                "'{text}' is not a frame rate: write 1 to 1000 frames per second, for example 200, \
                 59.94 or 60000/1001"
            )
        })
    }
}

/// `59.94` as 5994/100: what was typed, exactly.
fn decimal_ratio(text: &str) -> Option<(u32, u32)> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits_only = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !digits_only(whole) || !digits_only(fraction) || fraction.len() > 4 {
        return None;
    }
    let num = format!("{whole}{fraction}").parse().ok()?;
    let den = 10_u32.pow(u32::try_from(fraction.len()).ok()?);
    Some((num, den))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_read_exactly_and_print_as_read() {
        let read = |text: &str| text.parse::<Rate>().map(|rate| rate.to_string());
        assert_eq!(read("200"), Ok("200".into()));
        assert_eq!(read("59.94"), Ok("2997/50".into()));
        assert_eq!(read("60000/1001"), Ok("60000/1001".into()));
        for bad in ["0", "-5", "1001", "", "12x", "1/0", "0.5", "nan", "1.00001"] {
            assert!(read(bad).is_err(), "{bad} was accepted");
        }
    }

    #[test]
    fn shares_outside_their_range_cannot_be_built() {
        assert_eq!(Share::new(1.5), None);
        assert_eq!(Share::new(f64::NAN), None);
        assert_eq!(Share::saturating(-7.0), Share::saturating(-1.0));
        assert_eq!(Share::saturating(f64::NAN), Share::NONE);
    }
}
