//! Slow gains on wishes: less of everything, so that the limiter need not flatten what is loudest.
//!
//! A gain changes no shape, only size. It stands before everything else that a wish goes through and
//! never above 1, so that nothing behind it is loosened: the limiter has the last word as before.
//! What a gain takes counts as cut by heat (and apart, as eased), though a plan's gains may make room in
//! the supply as well.

/// One gain per coil, 0 to 1.
#[derive(Debug, Clone)]
pub(super) struct Ease {
    gains: Vec<f64>,
    /// Per coil: what its gain takes, as a part of what it leaves.
    takes: Vec<f64>,
}

impl Ease {
    /// Wishes as they are.
    pub(super) fn none(coils: usize) -> Self {
        Self { gains: vec![1.0; coils], takes: vec![0.0; coils] }
    }

    /// Sets one gain. What is not above 0 would switch a coil off and lose what it was wished: a
    /// thousandth does instead.
    pub(super) fn set(&mut self, coil: usize, gain: f64) {
        let gain = if gain.is_finite() { gain.clamp(1e-3, 1.0) } else { 1.0 };
        if let (Some(own), Some(takes)) = (self.gains.get_mut(coil), self.takes.get_mut(coil)) {
            (*own, *takes) = (gain, gain.recip() - 1.0);
        }
    }

    /// Gains of all coils.
    pub(super) fn gains(&self) -> &[f64] {
        &self.gains
    }

    /// What each gain takes, as a part of what it leaves.
    pub(super) fn takes(&self) -> &[f64] {
        &self.takes
    }
}
