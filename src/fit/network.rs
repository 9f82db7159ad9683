//! Two stores of heat, winding and backing, and their exact step.

use serde::Serialize;

/// Winding and backing of one coil, the rest of the world at one temperature.
///
/// C_c dTc/dt = P - (Tc - Tb)/R_cb - (Tc - Ta) G_ca, and
/// C_b dTb/dt = (Tc - Tb)/R_cb - (Tb - Ta)/R_ba.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TwoNodes {
    /// Heat capacity of winding and board, J/K.
    pub coil_j_per_k: f64,
    /// Winding to backing, K/W.
    pub coil_to_backing_k_per_w: f64,
    /// Heat capacity of the backing, J/K.
    pub backing_j_per_k: f64,
    /// Backing to its surroundings, K/W.
    pub backing_to_around_k_per_w: f64,
    /// Winding straight to its surroundings, W/K (a conductance); 0: no such path.
    pub coil_to_around_w_per_k: f64,
}

impl TwoNodes {
    /// The network with the step response of two exponentials that a winding shows:
    /// rise / power = r1 (1 - e^(-t/tau1)) + r2 (1 - e^(-t/tau2)), K/W and s, no direct path from
    /// winding to surroundings. The conversion from a sum of two terms (Foster) to a chain (Cauer)
    /// is one division of polynomials:
    ///
    /// ```
    /// use coilscore::fit::TwoNodes;
    /// let chain = TwoNodes::from_step_response((2.0, 8.0), (15.0, 440.0));
    /// let [fast, slow] = chain.time_constants_s();
    /// assert!((fast - 8.0).abs() < 1e-9 && (slow - 440.0).abs() < 1e-9);
    /// ```
    pub fn from_step_response((r1, tau1): (f64, f64), (r2, tau2): (f64, f64)) -> Self {
        let (n0, n1) = (r1 + r2, r1 * tau2 + r2 * tau1);
        let (d1, d2) = (tau1 + tau2, tau1 * tau2);
        let coil = d2 / n1;
        let q = d1 - coil * n0;
        let inner = n1 / q;
        let outer = n0 - inner;
        Self {
            coil_j_per_k: coil,
            coil_to_backing_k_per_w: inner,
            backing_j_per_k: q / outer,
            backing_to_around_k_per_w: outer,
            coil_to_around_w_per_k: 0.0,
        }
    }

    /// Temperatures of winding and backing at which `power_w` is carried away for ever, C.
    pub fn settled_c(&self, power_w: f64, around_c: f64) -> [f64; 2] {
        let inner = 1.0 / self.coil_to_backing_k_per_w;
        let (outer, direct) = (1.0 / self.backing_to_around_k_per_w, self.coil_to_around_w_per_k);
        let determinant = (inner + direct) * (inner + outer) - inner * inner;
        let per_watt = power_w / determinant;
        [around_c + (inner + outer) * per_watt, around_c + inner * per_watt]
    }

    /// The fast and the slow time constant, s.
    pub fn time_constants_s(&self) -> [f64; 2] {
        let stepper = Stepper::new(self);
        [-1.0 / stepper.fast, -1.0 / stepper.slow]
    }
}

/// The exact step of a network under constant power and surroundings, for any span.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stepper {
    network: TwoNodes,
    a: [[f64; 2]; 2],
    /// Rates of decay, 1/s, negative.
    fast: f64,
    slow: f64,
}

impl Stepper {
    pub(super) fn new(network: &TwoNodes) -> Self {
        let inner = 1.0 / network.coil_to_backing_k_per_w;
        let outer = 1.0 / network.backing_to_around_k_per_w;
        let (coil, backing) = (network.coil_j_per_k, network.backing_j_per_k);
        let a = [
            [-(inner + network.coil_to_around_w_per_k) / coil, inner / coil],
            [inner / backing, -(inner + outer) / backing],
        ];
        let [[cc, cb], [bc, bb]] = a;
        let (half, apart) = ((cc + bb) / 2.0, (cc - bb) / 2.0);
        let root = (apart * apart + cb * bc).sqrt();
        let fast = half - root;
        // As determinant over the fast rate: half + root would lose digits.
        let slow = (cc * bb - cb * bc) / fast;
        Self { network: *network, a, fast, slow }
    }

    /// Temperatures after `span_s`, from temperatures `now_c` of winding and backing.
    pub(super) fn step(
        &self,
        now_c: [f64; 2],
        power_w: f64,
        around_c: f64,
        span_s: f64,
    ) -> [f64; 2] {
        let goal = self.network.settled_c(power_w, around_c);
        let off = [now_c[0] - goal[0], now_c[1] - goal[1]];
        // e^(At) = e^(slow t) (I + (A - slow I) (1 - e^((fast - slow) t)) / (slow - fast))
        let keep = libm::exp(self.slow * span_s);
        let gap = self.slow - self.fast;
        let part = -libm::expm1(-gap * span_s) / gap;
        let [[cc, cb], [bc, bb]] = self.a;
        let turned =
            [(cc - self.slow) * off[0] + cb * off[1], bc * off[0] + (bb - self.slow) * off[1]];
        [goal[0] + keep * (off[0] + part * turned[0]), goal[1] + keep * (off[1] + part * turned[1])]
    }
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

    /// A chain's own two exponentials lead back to it. Residues of the winding's response: the
    /// derivative of the step response at 0 is 1/C_c, its end value R_cb + R_ba.
    #[test]
    fn two_exponentials_and_the_chain_are_one_thing() {
        let [fast, slow] = WORKED.time_constants_s();
        assert!((fast - 8.6).abs() < 0.05 && (slow - 436.0).abs() < 0.5, "{fast} {slow}");
        let r1 = (17.5 - slow / 4.0) / (1.0 - slow / fast);
        let back = TwoNodes::from_step_response((r1, fast), (17.5 - r1, slow));
        assert!((back.coil_j_per_k - 4.0).abs() < 1e-9, "{back:?}");
        assert!((back.backing_j_per_k - 25.0).abs() < 1e-8, "{back:?}");
        assert!((back.coil_to_backing_k_per_w - 2.5).abs() < 1e-9, "{back:?}");
        assert!((back.backing_to_around_k_per_w - 15.0).abs() < 1e-9, "{back:?}");
    }

    #[test]
    fn one_long_step_is_many_short_ones_and_ends_settled() {
        let network = TwoNodes { coil_to_around_w_per_k: 0.02, ..WORKED };
        let stepper = Stepper::new(&network);
        let long = stepper.step([40.0, 30.0], 2.0, 25.0, 50.0);
        let short = (0..5000).fold([40.0, 30.0], |now, _| stepper.step(now, 2.0, 25.0, 0.01));
        assert!((long[0] - short[0]).abs() < 1e-9 && (long[1] - short[1]).abs() < 1e-9);
        let end = stepper.step([40.0, 30.0], 2.0, 25.0, 1e5);
        let settled = network.settled_c(2.0, 25.0);
        assert!((end[0] - settled[0]).abs() < 1e-9 && (end[1] - settled[1]).abs() < 1e-9);
        let plain = WORKED.settled_c(2.0, 25.0);
        assert!((plain[0] - 60.0).abs() < 1e-9 && (plain[1] - 55.0).abs() < 1e-9);
    }
}
