//! From a wish to a current and a duty: straight in pull, not in current.

use super::law::PullLaw;
use crate::coil::pwm::Drive;
use crate::units::Amps;

/// A wish of 0 to 1 laid over a range of pull.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Pull over weight against current.
    pub law: PullLaw,
    /// Pull at no wish: the magnet's own, or 1 for just lifted.
    pub low: f64,
    /// Pull at full wish.
    pub high: f64,
}

impl Demand {
    /// From rest to what `most_u` of the full current gives.
    pub fn from_rest(law: PullLaw, most_u: f64) -> Self {
        Self { law, low: law.q0, high: law.pull(most_u) }
    }

    /// Current as a share of full for a wish of 0 to 1 (saturates); `None` where no current does it.
    pub fn current(&self, wish: f64) -> Option<f64> {
        let wish = wish.clamp(0.0, 1.0);
        self.law.current_for(self.low + wish * (self.high - self.low))
    }
}

/// Signed duty that drives `u` of the full current at the winding's present resistance; saturates.
pub fn duty_for(drive: &Drive, full: Amps, u: f64) -> f64 {
    let size = drive.duty_for_mean(Amps((u * full.0).abs())).unwrap_or(1.0);
    if u < 0.0 { -size } else { size }
}

/// Heat of holding at one current over heat of holding at another, for smooth current.
pub fn heat_share(hold_u: f64, lift_u: f64) -> f64 {
    hold_u * hold_u / (lift_u * lift_u)
}
