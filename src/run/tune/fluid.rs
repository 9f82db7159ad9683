//! How the fluid over each coil follows its duty, for the pages' preview.

use crate::coil::fluid::response::{Response, Step};
use crate::units::Seconds;

/// Natural frequency that stands for a tank nobody measured, rad/s: twice a second. An assumption.
const NATURAL_RAD_PER_S: f64 = 2.0 * std::f64::consts::TAU;
/// Share of critical damping. An assumption.
const DAMPING: f64 = 0.5;

/// The fluid over every coil: height as a share of what full steady duty raises.
#[derive(Debug)]
pub(super) struct Preview {
    response: Response,
    step: Step,
    states: Vec<[f64; 2]>,
    heights: Vec<f32>,
}

impl Preview {
    /// Fluid at rest over so many coils, stepped by `period`.
    pub(super) fn new(coils: usize, period: Seconds) -> Self {
        let response = Response { natural_rad_per_s: NATURAL_RAD_PER_S, damping: DAMPING };
        Self {
            response,
            step: response.step(period),
            states: vec![[0.0; 2]; coils],
            heights: vec![0.0; coils],
        }
    }

    /// How far it lags behind slow movements.
    pub(super) fn lag(&self) -> Seconds {
        self.response.lead()
    }

    /// One step on.
    pub(super) fn follow(&mut self, duties: &[f32]) {
        let coils = self.states.iter_mut().zip(&mut self.heights).zip(duties);
        for ((state, height), &duty) in coils {
            *state = self.step.next(*state, f64::from(duty));
            #[expect(clippy::cast_possible_truncation, reason = "for eyes")]
            let shown = state[0] as f32;
            *height = shown;
        }
    }

    /// Of every coil now.
    pub(super) fn heights(&self) -> &[f32] {
        &self.heights
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_duty_is_reached_late_and_a_little_overshot() {
        let mut preview = Preview::new(1, Seconds(0.02));
        let heights: Vec<f32> = (0..200)
            .map(|_| {
                preview.follow(&[0.8]);
                preview.heights()[0]
            })
            .collect();
        assert!(heights[0] < 0.1, "fluid does not jump");
        let top = heights.iter().copied().fold(0.0, f32::max);
        // A second-order lag of half critical damping overshoots by exp(-pi/sqrt(3)) = 16.3 %.
        assert!((top / 0.8 - 1.163).abs() < 0.01, "{top}");
        assert!((heights[199] - 0.8).abs() < 1e-3);
    }
}
