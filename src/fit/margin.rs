//! What a fit's own errors mean for the budget.
//!
//! The budget keeps a model inside a box of temperatures and shrinks the box by a margin. A real
//! coil whose figures differ from the fitted ones gets the same power and ends elsewhere. The margin
//! is how far, relative to the box, when the figures lie anywhere in the region that holds them
//! with 95 % confidence.
//!
//! The power that tells most is that of a coil driven to its bound at once and held there: the
//! winding gets its whole heat in no time (what a wrong C_c makes of it shows at once), then what
//! the cold backing takes (R_cb, C_b), in the end what leaves (R_ba). Powers that stay lower or come
//! later lie between that and rest.
//!
//! For small errors, the temperature of a node at a time is the fitted one plus g . d, with d the
//! errors of the logarithms and g the slopes. Over the ellipsoid d^T S^-1 d <= r^2, where S is the
//! covariance, g . d is at most r sqrt(g^T S g); with r^2 the 95 % point of chi-squared with 4
//! degrees of freedom, 9.4877 (any table of it), the ellipsoid holds 95 % of what the figures may
//! be, and none of them is hotter than the margin at any time in either node.

use serde::Serialize;

use super::network::{Stepper, TwoNodes};
use crate::coil::copper::COPPER_K_C;

/// Errors that scatter does not show.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Systematic {
    /// The volt meter and the rail against each other, percent. Resistance and power are made of the
    /// same current, which drops out; the voltage counts twice.
    pub volts_percent: f64,
    /// The thermometer that told the cold temperature, K.
    pub cold_k: f64,
}

impl Default for Systematic {
    /// 2 % and 1 K: a common hand meter with a supply that is set by it, a common thermometer (common
    /// practice, no source).
    fn default() -> Self {
        Self { volts_percent: 2.0, cold_k: 1.0 }
    }
}

/// What the budget should leave.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Margin {
    /// By how much allowed rises shrink, percent: scatter and thermometer together.
    pub margin_percent: f64,
    /// How much more heat than modelled is reckoned with, percent: voltages.
    pub power_percent: f64,
    /// The part of the margin that comes from scatter, percent.
    pub scatter_percent: f64,
    /// The part that comes from the thermometer, percent.
    pub cold_percent: f64,
}

/// 95 % point of chi-squared with 4 degrees of freedom.
const CHI_SQUARED: f64 = 9.4877;

/// No margin is smaller than this, percent: two stores of heat are a picture of a coil, not the coil.
const LEAST_PERCENT: f64 = 2.0;

/// Moments of the run that are looked at.
const MOMENTS: u32 = 240;

/// The margin for a network with this covariance of the logarithms of C_c, R_cb, C_b and R_ba, found
/// with `free` degrees of freedom.
pub fn margin(
    network: &TwoNodes,
    covariance: &[[f64; 4]; 4],
    free: f64,
    cold_c: f64,
    systematic: Systematic,
) -> Margin {
    // With few readings the scatter itself is not known well: 4 F(4, free) at 95 %, within 1 %.
    let radius = (CHI_SQUARED * (1.0 + 4.1 / free.max(1.0))).sqrt();
    let strides: [f64; 4] = std::array::from_fn(|figure| {
        let error = covariance.get(figure).and_then(|row| row.get(figure)).copied().unwrap_or(0.0);
        error.sqrt().clamp(1e-5, 0.2)
    });
    let runs: [[Vec<[f64; 2]>; 2]; 4] = std::array::from_fn(|figure| {
        let stride = strides.get(figure).copied().unwrap_or(1e-3);
        [run(network, figure, stride), run(network, figure, -stride)]
    });
    let mut worst: f64 = 0.0;
    for moment in 0..MOMENTS as usize {
        for node in 0..2 {
            let part = |run: &[[f64; 2]]| {
                run.get(moment).and_then(|nodes| nodes.get(node)).copied().unwrap_or(0.0)
            };
            let mut slopes = [0.0; 4];
            for ((slope, [up, down]), stride) in slopes.iter_mut().zip(&runs).zip(strides) {
                *slope = (part(up) - part(down)) / (2.0 * stride);
            }
            let square: f64 = slopes
                .iter()
                .zip(covariance)
                .flat_map(|(a, row)| slopes.iter().zip(row).map(move |(b, cov)| a * b * cov))
                .sum();
            worst = worst.max(square.max(0.0).sqrt());
        }
    }
    let scatter_percent = 100.0 * radius * worst;
    let cold_percent = 100.0 * systematic.cold_k / (COPPER_K_C + cold_c);
    let volts = 1.0 + systematic.volts_percent / 100.0;
    let up = |percent: f64| libm::ceil(percent * 10.0 - 1e-9).max(0.0) / 10.0;
    Margin {
        margin_percent: up((scatter_percent + cold_percent).max(LEAST_PERCENT)),
        power_percent: up(100.0 * (volts * volts - 1.0)),
        scatter_percent,
        cold_percent,
    }
}

/// Winding and backing, relative to their bounds, of a coil of which one figure (its logarithm) is
/// off by `by`, under the power that brings the fitted one to its bound at once and holds it there.
fn run(fitted: &TwoNodes, figure: usize, by: f64) -> Vec<[f64; 2]> {
    let factor = libm::exp(by);
    let mut real = *fitted;
    match figure {
        0 => real.coil_j_per_k *= factor,
        1 => real.coil_to_backing_k_per_w *= factor,
        2 => real.backing_j_per_k *= factor,
        _ => real.backing_to_around_k_per_w *= factor,
    }
    let [winding, backing] = fitted.settled_c(1.0, 0.0);
    let inner = 1.0 / fitted.coil_to_backing_k_per_w;
    let outer = 1.0 / fitted.backing_to_around_k_per_w;
    let tau_s = fitted.backing_j_per_k / (inner + outer);
    let [fast_s, slow_s] = fitted.time_constants_s();
    let stepper = Stepper::new(&real);
    let mut now = [winding * fitted.coil_j_per_k / real.coil_j_per_k, 0.0];
    let mut now_s = 0.0;
    let growth = libm::pow(1e4 * slow_s / fast_s, 1.0 / f64::from(MOMENTS - 1));
    let mut next_s = fast_s * 1e-3;
    let mut moments = Vec::with_capacity(MOMENTS as usize);
    for _ in 0..MOMENTS {
        let span_s = next_s - now_s;
        // The fitted backing's mean over the step, from its own exponential.
        let left = (libm::exp(-now_s / tau_s) - libm::exp(-next_s / tau_s)) * tau_s / span_s;
        let fitted_backing = backing * (1.0 - left);
        let power_w = (winding - fitted_backing) * inner + winding * fitted.coil_to_around_w_per_k;
        now = stepper.step(now, power_w, 0.0, span_s);
        moments.push([now[0] / winding, now[1] / backing]);
        now_s = next_s;
        next_s *= growth;
    }
    moments
}

#[cfg(test)]
mod tests {
    use super::*;

    const WORKED: TwoNodes = TwoNodes {
        coil_j_per_k: 4.0,
        coil_to_backing_k_per_w: 2.5,
        backing_j_per_k: 25.0,
        backing_to_around_k_per_w: 15.0,
        coil_to_around_w_per_k: 0.0,
    };

    #[test]
    fn a_coil_as_fitted_stays_at_its_bound() {
        for [winding, backing] in run(&WORKED, 0, 0.0) {
            assert!((winding - 1.0).abs() < 2e-3 && backing < 1.0 + 1e-4, "{winding} {backing}");
        }
    }

    /// One figure uncertain at a time, by 1 %: a wrong C_c shows in full at once, a wrong R_ba in
    /// full in the backing in the end; the radius is sqrt(9.4877) = 3.080.
    #[test]
    fn single_errors_have_the_size_that_paper_says() {
        let scatter = |figure: usize| {
            let mut covariance = [[0.0; 4]; 4];
            if let Some(cell) = covariance.get_mut(figure).and_then(|row| row.get_mut(figure)) {
                *cell = 1e-4;
            }
            margin(&WORKED, &covariance, 1e9, 20.0, Systematic::default()).scatter_percent
        };
        assert!((scatter(0) - 3.080).abs() < 0.01, "{}", scatter(0));
        assert!((scatter(3) - 3.080).abs() < 0.01, "{}", scatter(3));
        assert!(scatter(1) < 3.080 && scatter(2) < 3.080, "{} {}", scatter(1), scatter(2));
    }

    #[test]
    fn known_errors_count_as_paper_says() {
        let none = [[0.0; 4]; 4];
        let systematic = Systematic { volts_percent: 3.0, cold_k: 6.0 };
        let got = margin(&WORKED, &none, 1e9, 20.0, systematic);
        // 6 K of 254.5 K is 2.358 %; 1.03 squared is 1.0609. Both round up.
        assert!((got.margin_percent - 2.4).abs() < 1e-9, "{got:?}");
        assert!((got.power_percent - 6.1).abs() < 1e-9, "{got:?}");
        let least = margin(&WORKED, &none, 1e9, 20.0, Systematic { cold_k: 0.0, ..systematic });
        assert!((least.margin_percent - 2.0).abs() < 1e-9, "{least:?}");
    }
}
