//! Pull over weight as a function of current.

use crate::coil::fluid::{Blob, Ferrofluid};
use crate::coil::space::Local;
use crate::coil::turn::MU0;

/// q(u) = q0 + c1 u + c2 u^2: exact for fluid far from saturation.
///
/// Force per volume is M d|B|/ds along the way s that the fluid is to go; with M in step with B it is
/// k B . dB/ds, and B is magnet plus u times coil (derived).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PullLaw {
    /// The magnet alone.
    pub q0: f64,
    /// Magnet and coil together.
    pub c1: f64,
    /// The coil alone.
    pub c2: f64,
}

impl PullLaw {
    /// From the magnet's field and the coil's at full current, both with their change along the way,
    /// and the weight to overcome, N/m3.
    pub fn new(
        fluid: &Ferrofluid,
        blob: &Blob,
        weight_n_per_m3: f64,
        bias: Local,
        coil: Local,
    ) -> Self {
        let chi = fluid.chi;
        let k = chi / ((1.0 + blob.demagnetising * chi) * MU0 * weight_n_per_m3);
        Self {
            q0: k * bias.field.dot(bias.slope),
            c1: k * (bias.field.dot(coil.slope) + coil.field.dot(bias.slope)),
            c2: k * coil.field.dot(coil.slope),
        }
    }

    /// Pull over weight.
    pub fn pull(&self, u: f64) -> f64 {
        self.q0 + u * (self.c1 + u * self.c2)
    }

    /// The current, as a share of full, at which the pull is `q`, on the branch through u = 0; `None`
    /// when no current does it. With a magnet the wrong way round it is negative.
    pub fn current_for(&self, q: f64) -> Option<f64> {
        let missing = q - self.q0;
        if missing == 0.0 {
            return Some(0.0);
        }
        let under = self.c1 * self.c1 + 4.0 * self.c2 * missing;
        let below = self.c1.abs() + under.max(0.0).sqrt();
        if under.is_nan() || under < 0.0 || below <= 0.0 {
            return None;
        }
        let u = 2.0 * missing / below;
        Some(if self.c1 < 0.0 { -u } else { u })
    }

    /// The law in another weight: every pull so many times as large.
    pub fn times(&self, factor: f64) -> Self {
        Self { q0: factor * self.q0, c1: factor * self.c1, c2: factor * self.c2 }
    }

    /// Where fluid lifts.
    pub fn lift(&self) -> Option<f64> {
        self.current_for(1.0)
    }

    /// Where fluid that was lifted drops: at `drop_share` of the lifting pull, 0.5 to 0.8 for want of
    /// a measurement. Negative: only an opposing current drops it.
    pub fn drop(&self, drop_share: f64) -> Option<f64> {
        self.current_for(drop_share)
    }

    /// Pull that full current adds, over what it would add without the magnet.
    pub fn gain(&self) -> f64 {
        (self.c1 + self.c2) / self.c2
    }

    /// The current of least pull. Beyond it opposing current lifts again: never go there.
    pub fn least_pull_at(&self) -> f64 {
        -self.c1 / (2.0 * self.c2)
    }
}

/// Pull over weight with the fluid's saturation, for the sum of all fields.
pub fn saturating_pull(fluid: &Ferrofluid, blob: &Blob, weight_n_per_m3: f64, field: Local) -> f64 {
    let size = field.field.length();
    if size == 0.0 {
        return 0.0;
    }
    let magnetisation = fluid.magnetisation_of(blob.demagnetising, size);
    magnetisation * field.field.dot(field.slope) / size / weight_n_per_m3
}
