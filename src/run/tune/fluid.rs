//! How the fluid over each coil follows its duty, for the pages' preview.

use crate::coil::fluid::{self, Lag, Way};
use crate::units::{Rate, Seconds};

/// Natural frequency that stands for a tank nobody measured, Hz. An assumption.
const NATURAL_HZ: f64 = 2.0;
/// Share of critical damping. An assumption.
const DAMPING: f64 = 0.5;

/// The fluid over every coil: height as a share of what full steady duty raises.
pub(super) struct Preview {
    lag: Lag,
    fluid: fluid::Preview,
    heights: Vec<f32>,
}

impl Preview {
    /// Fluid at rest over so many coils, stepped `rate` times a second; `lag` as it was measured.
    pub(super) fn new(lag: Option<Lag>, coils: usize, rate: Rate) -> Self {
        let way = Way::new(Seconds(0.0), NATURAL_HZ, DAMPING);
        let lag = lag.unwrap_or(Lag { rise: way, fall: way });
        let fluid = fluid::Preview::new(&lag, coils, rate);
        Self { lag, fluid, heights: vec![0.0; coils] }
    }

    /// How far it lags behind slow movements.
    pub(super) fn lag(&self) -> Seconds {
        self.lag.lead()
    }

    /// One step on.
    pub(super) fn follow(&mut self, duties: &[f32]) {
        let heights = self.fluid.step(duties.iter().map(|&duty| f64::from(duty)));
        for (shown, &height) in self.heights.iter_mut().zip(heights) {
            #[expect(clippy::cast_possible_truncation, reason = "for eyes")]
            let height = height as f32;
            *shown = height;
        }
    }

    /// Of every coil now.
    pub(super) fn heights(&self) -> &[f32] {
        &self.heights
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn heights(lag: Option<Lag>) -> Vec<f32> {
        let mut preview = Preview::new(lag, 1, Rate::new(50, 1).unwrap());
        let follow = |_| {
            preview.follow(&[0.8]);
            preview.heights()[0]
        };
        (0..200).map(follow).collect()
    }

    #[test]
    fn a_steady_duty_is_reached_late_and_a_little_overshot() {
        let heights = heights(None);
        assert!(heights[0] < 0.1, "fluid does not jump");
        let top = heights.iter().copied().fold(0.0, f32::max);
        // A second-order lag of half critical damping overshoots by exp(-pi/sqrt(3)) = 16.3 %.
        assert!((top / 0.8 - 1.163).abs() < 0.01, "{top}");
        assert!((heights[199] - 0.8).abs() < 1e-3);
    }

    #[test]
    fn a_fluid_that_was_measured_follows_as_it_was() {
        let way = Way::new(Seconds(0.2), 4.0, 1.0);
        let heights = heights(Some(Lag { rise: way, fall: way }));
        assert!(heights[8].abs() < 1e-6 && heights[14] > 0.0, "{:?}", &heights[..16]);
    }
}
