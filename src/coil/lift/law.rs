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

    /// What watching fluid lift at the current `lift_u`, and drop at `drop_u`, says of the law; both
    /// driven as the driver does when it lifts, which with a magnet the wrong way round is against it.
    /// `None` when the law has no pull there.
    ///
    /// The pull at which fluid lifts is 1 by definition. What stands in the weight (wetting, tension,
    /// density) is the least certain of what a law is made of and scales all of it, so the difference
    /// comes out of that.
    pub fn watched(&self, lift_u: f64, drop_u: Option<f64>) -> Option<Watched> {
        let toward = if self.c1 < 0.0 { -1.0 } else { 1.0 };
        let at_lift = self.pull(toward * lift_u);
        let drop_share = drop_u.map(|drop_u| self.pull(toward * drop_u) / at_lift);
        (at_lift > 0.0).then(|| Watched {
            factor: at_lift.recip(),
            drop_share: drop_share.filter(|&share| share > 0.0 && share <= 1.0),
        })
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

/// What watching a coil lift its fluid says of its law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watched {
    /// Pull over weight, over what was reckoned.
    pub factor: f64,
    /// Pull at which fluid was seen to drop, over that at which it was seen to lift.
    pub drop_share: Option<f64>,
}

impl Watched {
    /// A law, at any distance, brought in line with what was seen of its coil, and the share at which
    /// fluid then drops; `drop_share` where no dropping was seen.
    pub fn corrects(&self, law: &PullLaw, drop_share: f64) -> (PullLaw, f64) {
        (law.times(self.factor), self.drop_share.unwrap_or(drop_share))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_seen_replaces_what_was_reckoned() {
        let law = PullLaw { q0: 0.5, c1: 1.51321, c2: 0.777_090 };
        // It was seen to lift at 0.4 and to drop at 0.2 instead of 0.288 and 0.064.
        let corrected = |law: PullLaw, drop_u| {
            law.watched(0.4, drop_u).map(|watched| watched.corrects(&law, 0.6))
        };
        let Some((seen, drop)) = corrected(law, Some(0.2)) else { unreachable!("it pulls there") };
        assert!((seen.pull(0.4) - 1.0).abs() < 1e-12 && (seen.pull(0.2) - drop).abs() < 1e-12);
        assert!((seen.q0 / seen.c2 - 0.5 / 0.777_090).abs() < 1e-12, "all of it is scaled");
        // With the magnet the wrong way round the driver drives against it.
        let turned = PullLaw { c1: -law.c1, ..law };
        assert!(
            corrected(turned, None).is_some_and(|(law, _)| (law.pull(-0.4) - 1.0).abs() < 1e-12)
        );
        // Dropping above the lift, or where nothing pulls, was not seen right.
        assert!(
            corrected(law, Some(0.5)).is_some_and(|(_, drop)| drop.to_bits() == 0.6_f64.to_bits())
        );
        assert_eq!(corrected(PullLaw { q0: -9.0, ..law }, Some(0.2)), None);
    }
}
