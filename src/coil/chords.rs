//! Heat of PWM as a table: read once per coil and frame, and read backwards for cut coils.

use super::pwm::heat_share;

/// Chords per table. The heat share is convex in the duty, so a chord never lies below it; with
/// 256 the table is at most 5e-6 too high for x up to 1, 2.5e-4 up to 152 and 4.5e-4 at any x.
const CHORDS: usize = 256;

/// `CHORDS` as a factor.
const PER_DUTY: f64 = CHORDS as f64;

/// [`heat_share`] for one x by straight chords, never below the true share.
#[derive(Debug, Clone, PartialEq)]
pub struct Chords {
    /// Heat share at the ends of the chords.
    ends: Box<[f64; CHORDS + 1]>,
    /// The chord at or before the one in which a heat share lies, by the square root of the share
    /// (which is what the duty is for smooth current).
    first: Box<[u16; CHORDS + 1]>,
}

impl Chords {
    /// The table for `x`, the PWM period over L/R (infinity allowed).
    pub fn new(x: f64) -> Self {
        let mut ends = Box::new([0.0; CHORDS + 1]);
        for (end, step) in ends.iter_mut().zip(0_u32..) {
            *end = heat_share(f64::from(step) / PER_DUTY, x);
        }
        let mut first = Box::new([0; CHORDS + 1]);
        for (slot, step) in first.iter_mut().zip(0_u32..) {
            let root = f64::from(step) / PER_DUTY;
            let before = ends.partition_point(|&end| end <= root * root).saturating_sub(1);
            *slot = u16::try_from(before).unwrap_or(0);
        }
        Self { ends, first }
    }

    /// Heat share at `duty` (saturates at 0 and 1).
    #[expect(clippy::indexing_slicing, reason = "the chord number is below CHORDS")]
    pub fn heat(&self, duty: f64) -> f64 {
        let place = (duty * PER_DUTY).clamp(0.0, PER_DUTY);
        let chord = whole(place).min(CHORDS - 1);
        let (low, high) = (self.ends[chord], self.ends[chord + 1]);
        low + (place - chord as f64) * (high - low)
    }

    /// The largest duty whose [`Chords::heat`] does not pass `heat`; 1 from full heat on.
    #[expect(clippy::indexing_slicing, reason = "the chord number is below CHORDS")]
    pub fn duty(&self, heat: f64) -> f64 {
        if heat >= 1.0 {
            return 1.0;
        }
        if heat <= 0.0 {
            return 0.0;
        }
        let guess = whole(heat.sqrt() * PER_DUTY).min(CHORDS - 1);
        let mut chord = usize::from(self.first[guess]).min(CHORDS - 1);
        while chord < CHORDS - 1 && self.ends[chord + 1] <= heat {
            chord += 1;
        }
        let (low, high) = (self.ends[chord], self.ends[chord + 1]);
        ((chord as f64 + (heat - low) / (high - low)) / PER_DUTY).clamp(0.0, 1.0)
    }
}

/// Largest whole number not above `place`, for places from 0 to `CHORDS`.
#[expect(clippy::cast_possible_truncation, reason = "rounding down is the purpose")]
#[expect(clippy::cast_sign_loss, reason = "callers pass 0 or more")]
fn whole(place: f64) -> usize {
    // Through 16 bits, which takes the processor half as long as through 64.
    usize::from(place as u16)
}

#[cfg(test)]
mod tests {
    use super::*;

    const XS: [f64; 10] = [0.0, 1e-4, 0.1, 0.761, 1.0, 7.6, 30.4, 152.0, 700.0, f64::INFINITY];

    #[test]
    fn a_chord_never_lies_below_the_heat_and_hardly_above() {
        for x in XS {
            let chords = Chords::new(x);
            for step in 0..=20_000 {
                let duty = f64::from(step) / 20_000.0;
                let over = chords.heat(duty) - heat_share(duty, x);
                let most = if x <= 1.0 { 5e-6 } else { 4.5e-4 };
                assert!((-1e-15..=most).contains(&over), "x {x} duty {duty}: {over}");
            }
        }
    }

    #[test]
    fn reading_backwards_finds_the_largest_duty() {
        for x in XS {
            let chords = Chords::new(x);
            for step in 1..5_000 {
                let heat = f64::from(step) / 5_000.0;
                let duty = chords.duty(heat);
                assert!(chords.heat(duty) <= heat + 1e-15, "x {x}: {heat} passed at {duty}");
                assert!(chords.heat(duty + 1e-9) > heat - 1e-12, "x {x}: more than {duty} fits");
            }
            assert_eq!((chords.duty(0.0), chords.duty(1.0), chords.duty(7.0)), (0.0, 1.0, 1.0));
        }
    }
}
