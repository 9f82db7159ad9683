//! Temperatures in time: the network's equations solved over one step in which powers hold still.

#![expect(clippy::indexing_slicing, reason = "index arithmetic over the nodes of one network")]

use std::ops::Range;

use super::network::Network;

/// What a step may get wrong, relative to the movement within it.
const STEP_ERROR: f64 = 5e-9;

/// Steps longer than this against the fastest node (as y, below) are divided: the series would
/// lose digits.
const LONGEST_Y: f64 = 4.0;

/// Rises over the room of all nodes, K, and how they move.
///
/// theta' = A theta + b with A = -C^-1 G is solved by the exponential series on the movement
/// r = A theta + b: theta += T r + T^2/2 A r + T^3/6 A^2 r + ... Each row of A adds up to at most
/// y/T, y = 2 T max(G_ii/C_i), in size, so what is left out after m terms is below
/// y^m / (m + 1)! / (1 - y/(m + 2)) of T r. Steps with y above 4 are divided.
#[derive(Debug, Clone)]
pub(super) struct Heat {
    /// Rise of every node, K.
    pub rise: Vec<f64>,
    /// Per node: 1/C, K/J.
    warms: Vec<f64>,
    speed: Vec<f64>,
    next: Vec<f64>,
    fastest_per_s: f64,
}

impl Heat {
    /// Starts at these rises.
    pub(super) fn new(network: &Network, rise: Vec<f64>) -> Self {
        let rates = network.loss.iter().zip(&network.heat).map(|(loss, heat)| loss / heat);
        Self {
            warms: network.heat.iter().map(|heat| heat.recip()).collect(),
            speed: vec![0.0; rise.len()],
            next: vec![0.0; rise.len()],
            rise,
            fastest_per_s: rates.fold(0.0, f64::max),
        }
    }

    /// The longest step that is not divided, s.
    pub(super) fn step_s(&self) -> f64 {
        LONGEST_Y / (2.0 * self.fastest_per_s)
    }

    /// Moves all nodes on by `span_s` under `power` (per coil, W).
    pub(super) fn step(&mut self, network: &Network, power: &[f64], span_s: f64) {
        let reach = 2.0 * self.fastest_per_s * span_s;
        let parts = (reach / LONGEST_Y).ceil().max(1.0);
        let terms = terms_for(reach / parts);
        let part_s = span_s / parts;
        let mut done = 0.0;
        while done < parts {
            self.part(network, power, part_s, terms);
            done += 1.0;
        }
    }

    fn part(&mut self, network: &Network, power: &[f64], part_s: f64, terms: u32) {
        let driven = power.len().min(self.rise.len());
        network.inflows(&self.rise, &mut self.next);
        self.begin(network, 0..driven, power);
        self.begin(network, driven..self.rise.len(), &[]);
        let mut factor = part_s;
        self.add(factor);
        for term in 2..=terms {
            network.inflows(&self.speed, &mut self.next);
            let rows = self.next.iter_mut().zip(&self.speed);
            for ((next, speed), (loss, warms)) in rows.zip(network.loss.iter().zip(&self.warms)) {
                *next = -(loss * speed - *next) * warms;
            }
            std::mem::swap(&mut self.speed, &mut self.next);
            factor *= part_s / f64::from(term);
            self.add(factor);
        }
    }

    /// How these nodes move at first, from what flows into them (in `next`) and the power put into
    /// them; where `power` ends, none.
    fn begin(&mut self, network: &Network, nodes: Range<usize>, power: &[f64]) {
        let moved = |rise: f64, inflow: f64, loss: f64, warms: f64, put_in: f64| {
            (put_in - (loss * rise - inflow)) * warms
        };
        let speeds = &mut self.speed[nodes.clone()];
        let rows = self.rise[nodes.clone()].iter().zip(&self.next[nodes.clone()]);
        let nodes = network.loss[nodes.clone()].iter().zip(&self.warms[nodes]);
        let rows = speeds.iter_mut().zip(rows.zip(nodes));
        if power.is_empty() {
            for (speed, ((rise, inflow), (loss, warms))) in rows {
                *speed = moved(*rise, *inflow, *loss, *warms, 0.0);
            }
        } else {
            for ((speed, ((rise, inflow), (loss, warms))), put_in) in rows.zip(power) {
                *speed = moved(*rise, *inflow, *loss, *warms, *put_in);
            }
        }
    }

    fn add(&mut self, factor: f64) {
        for (rise, speed) in self.rise.iter_mut().zip(&self.speed) {
            *rise += factor * speed;
        }
    }
}

/// Number of terms that keeps the error of a step with this y (at most 4) below [`STEP_ERROR`].
fn terms_for(y: f64) -> u32 {
    let mut left_out = y / 2.0;
    let mut terms = 1;
    while left_out > STEP_ERROR * (1.0 - y / f64::from(terms + 2)) {
        terms += 1;
        left_out *= y / f64::from(terms + 1);
    }
    terms
}
