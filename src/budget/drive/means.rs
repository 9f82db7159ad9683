//! The duty for a mean current, as a table: mean current makes the pull.

use crate::coil::pwm::Drive;
use crate::units::{Amps, Ohms, Volts};

/// Places in the table, at equal steps of the root of the current: with a freewheel drop the current
/// grows with the square of a small duty.
const PLACES: u32 = 256;

/// Duty against mean current, as a share of what full duty gives, for one PWM speed and one freewheel
/// drop. The resistance is in neither: mean over full current depends on duty, on the drop as a share
/// of the supply, and on the PWM period over L/R.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Means {
    /// Freewheel drop over what the supply puts across the coil.
    drop: f64,
    /// Mean from which the current flows through the whole period, and the duties below it.
    whole_from: f64,
    below: Box<[f64]>,
}

impl Means {
    /// For `x`, the PWM period over L/R, and `drop`, the freewheel drop over the supply's voltage less
    /// the switch's. Where x is infinite, current and drop end with the pulse.
    pub(super) fn new(x: f64, drop: f64) -> Self {
        let drop = if x == f64::INFINITY { 0.0 } else { drop };
        let drive = Drive {
            supply: Volts(1.0),
            switch_drop: Volts(0.0),
            freewheel_drop: Volts(drop),
            resistance: Ohms(1.0),
            x,
        };
        let (mut dies, mut flows) = (0.0, 1.0);
        if drop > 0.0 {
            for _ in 0..60 {
                let middle = f64::midpoint(dies, flows);
                if drive.steady(middle).continuous { flows = middle } else { dies = middle }
            }
        } else {
            flows = 0.0;
        }
        let whole_from = (flows * (1.0 + drop) - drop).max(0.0);
        let place = |step: u32| {
            let root = f64::from(step) / f64::from(PLACES);
            drive.duty_for_mean(Amps(whole_from * root * root)).unwrap_or(flows)
        };
        let below =
            if whole_from > 0.0 { (0..=PLACES).map(place).collect() } else { Box::default() };
        Self { drop, whole_from, below }
    }

    /// Duty for a mean current as a share of full; above 1 for more than full, which no duty gives.
    pub(super) fn duty(&self, mean: f64) -> f64 {
        if mean <= 0.0 {
            return 0.0;
        }
        if mean >= self.whole_from {
            return (mean + self.drop) / (1.0 + self.drop);
        }
        let place = (mean / self.whole_from).sqrt() * f64::from(PLACES);
        let step = super::whole_steps(place) as usize;
        let (Some(low), Some(high)) = (self.below.get(step), self.below.get(step + 1)) else {
            return self.below.last().copied().unwrap_or(0.0);
        };
        low + (place - step as f64) * (high - low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the closed form of the current itself, with and without a drop, smooth to rough.
    #[test]
    fn the_duty_gives_the_mean_that_was_wanted() {
        for x in [0.0, 0.1, 0.761, 3.0, 30.0, 152.0, f64::INFINITY] {
            for drop in [0.0, 0.01, 0.5 / 12.0, 0.3] {
                let means = Means::new(x, drop);
                let drive = Drive {
                    supply: Volts(12.0),
                    switch_drop: Volts(0.0),
                    freewheel_drop: Volts(12.0 * drop),
                    resistance: Ohms(8.0),
                    x,
                };
                for step in 1..=1000 {
                    let mean = f64::from(step) / 1000.0;
                    let got = drive.steady(means.duty(mean)).mean.0 / 1.5;
                    assert!((got - mean).abs() < 2e-5, "x {x}, drop {drop}: {mean} became {got}");
                }
                assert_eq!(means.duty(0.0).to_bits(), 0, "no current, no duty");
                assert!(means.duty(1.1) > 1.0, "more than full is more than full");
            }
        }
    }

    /// Smooth current needs the duty (I R + V_d) / (V + V_d): with 12 V and 0.5 V nothing flows below
    /// 4.0 %.
    #[test]
    fn smooth_current_starts_at_the_drops_share() {
        let means = Means::new(0.0, 0.5 / 12.0);
        assert!((means.duty(1e-12) - 0.04).abs() < 1e-9);
        assert!((means.duty(0.5) - 6.5 / 12.5).abs() < 1e-12);
    }
}
