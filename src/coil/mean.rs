//! The duty that makes a wanted mean current.

use super::pwm::Drive;
use crate::units::Amps;

impl Drive {
    /// Duty at which the mean coil current is `mean`, 0 or more; `None` when even full drive is less
    /// or nothing can be said (NaN).
    ///
    /// While the current flows through the whole period this is exact: mean = (D (V - V_sw + V_d) -
    /// V_d) / R. Where it dies out the mean is searched by halving; it rises with the duty.
    pub fn duty_for_mean(&self, mean: Amps) -> Option<f64> {
        let full = (self.supply.0 - self.switch_drop.0) / self.resistance.0;
        if !(mean.0 >= 0.0 && mean.0 <= full) {
            return None;
        }
        let drop = self.freewheel_drop.0 / self.resistance.0;
        let straight = (mean.0 + drop) / (full + drop);
        if self.steady(straight).continuous {
            return Some(straight);
        }
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.steady(middle).mean.0 < mean.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(f64::midpoint(low, high))
    }
}
