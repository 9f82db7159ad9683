//! The limiter: the most power each coil may take now without any node ever leaving the box.
//!
//! At the corner of the box (`AllowedBox`) the network is at rest, so while every winding stays
//! inside, backings and enclosure stay inside by themselves. That leaves one row per winding:
//! whatever its neighbours may reach at most within the horizon H, its own end of H must lie
//! inside. With e_i = exp(-G_ii H/C_i), neighbours at u_j, and the box at xbar:
//!
//! ```text
//! cap_i = G_ii (xbar_i - e_i theta_i) / (1 - e_i) - sum_j |G_ij| u_j
//! ```
//!
//! Any power up to the cap, however it changes within H, keeps all nodes inside, between frames
//! too; and the cap is never below the floor, the continuous power at the corner. H covers the
//! heat tick and the time for which the driver would hold the last frame if no more came.
//!
//! A duty takes most power while copper is coldest, so duty and power are converted at the lowest
//! temperature within H: the winding undriven, its neighbours as cold as they can get.

#![expect(clippy::indexing_slicing, reason = "index arithmetic over the nodes of one network")]

use super::network::{AllowedBox, Network};
use super::permit::Timing;
use crate::coil::copper::COPPER_K_C;

/// How far above the box a node counts as outside: a few microkelvin of rounding do not.
const OUTSIDE: f64 = 1.0 + 1e-7;

/// The limiter's tables and the caps of the present heat tick.
#[derive(Debug, Clone)]
pub(super) struct Limiter {
    /// Per coil: most power until the next tick, W.
    pub cap_w: Vec<f64>,
    /// Per coil: full power, W, at the lowest temperature it can have within the horizon.
    pub full_w: Vec<f64>,
    /// Per coil: full power, W, at the lowest temperature it can have within the tick.
    pub tick_full_w: Vec<f64>,
    /// Per coil: power that is always granted, W.
    pub floor_w: Vec<f64>,
    /// Per node: the box, K over the room.
    bound: Vec<f64>,
    bound_inverse: Vec<f64>,
    /// Per node: what a rise keeps of itself over the horizon, and where it tends at most.
    keep: Vec<f64>,
    tends: Vec<f64>,
    /// Per node: the least and the most it can be at within the horizon.
    ahead: Vec<[f64; 2]>,
    /// Per coil: G_ii / (1 - e_i).
    gain: Vec<f64>,
    /// Per coil: what a rise keeps of itself until its copper counts as coldest, over the horizon
    /// and over the tick.
    copper_keep: Vec<f64>,
    tick_keep: Vec<f64>,
    /// Per coil: full power times the copper's K + T, which does not depend on T.
    full_by_temperature: Vec<f64>,
    room_k: f64,
}

impl Limiter {
    /// For full powers `full_w` at room temperature `room_c`.
    pub(super) fn new(
        network: &Network,
        allowed: &AllowedBox,
        full_w: &[f64],
        room_c: f64,
        timing: &Timing,
    ) -> Self {
        let bound = &allowed.rise;
        let keeps = |span_s: f64| -> Vec<f64> {
            let rates = network.loss.iter().zip(&network.heat).map(|(loss, heat)| loss / heat);
            rates.map(|rate| libm::exp(-rate * span_s)).collect()
        };
        let tends = |node: usize| match full_w.get(node) {
            Some(full) => {
                let driven = (full + network.inflow(node, bound)) / network.loss[node];
                driven.max(bound[node])
            }
            None => bound[node],
        };
        let gain = |coil: usize| {
            let rate = network.loss[coil] / network.heat[coil];
            network.loss[coil] / -libm::expm1(-rate * timing.horizon_s)
        };
        let copper_keep = |span_s: f64| {
            let mut keep = keeps(span_s);
            keep.truncate(full_w.len());
            keep
        };
        let [tick_s, copper_s] = timing.copper_s;
        let room_k = COPPER_K_C + room_c;
        Self {
            cap_w: vec![0.0; full_w.len()],
            full_w: full_w.to_vec(),
            tick_full_w: full_w.to_vec(),
            floor_w: full_w.iter().map(|full| full * allowed.share).collect(),
            bound: bound.clone(),
            bound_inverse: bound.iter().map(|most| most.recip()).collect(),
            keep: keeps(timing.horizon_s),
            tends: (0..network.nodes()).map(tends).collect(),
            ahead: vec![[0.0; 2]; network.nodes()],
            gain: (0..full_w.len()).map(gain).collect(),
            tick_keep: copper_keep(tick_s),
            copper_keep: copper_keep(copper_s),
            full_by_temperature: full_w.iter().map(|full| full * room_k).collect(),
            room_k,
        }
    }

    /// Per node: the box, K over the room.
    pub(super) fn bound(&self) -> &[f64] {
        &self.bound
    }

    /// How far a winding would fill its box at the end of the horizon if it were driven with `power`
    /// from now on: above 1 exactly where the limiter would cut.
    pub(super) fn fills(&self, network: &Network, rise: &[f64], coil: usize, power_w: f64) -> f64 {
        let reached = |node: usize| {
            let tends = self.tends[node];
            (tends + self.keep[node] * (rise[node] - tends)).min(self.bound[node]).max(rise[node])
        };
        let links = network.links(coil).iter();
        let inflow: f64 = links.map(|link| link.conductance * reached(link.to as usize)).sum();
        let end = self.keep[coil] * rise[coil] + (power_w + inflow) / self.gain[coil];
        end * self.bound_inverse[coil]
    }

    /// Caps and full powers for the tick that starts at these rises.
    pub(super) fn refresh(&mut self, network: &Network, rise: &[f64]) {
        let outside = self.look_ahead(rise);
        let coils = self.cap_w.len();
        let (caps, full) = (&mut self.cap_w[..coils], &mut self.full_w[..coils]);
        let (tick_full, by_temperature) =
            (&mut self.tick_full_w[..coils], &self.full_by_temperature[..coils]);
        let (gain, bound, keep) = (&self.gain[..coils], &self.bound[..coils], &self.keep[..coils]);
        let (copper_keep, tick_keep) = (&self.copper_keep[..coils], &self.tick_keep[..coils]);
        let (rise, loss) = (&rise[..self.ahead.len()], &network.loss[..coils]);
        for coil in 0..coils {
            let own = rise[coil];
            let [least_w, most_w] = network.inflow_of_two(coil, &self.ahead);
            let tends = least_w / loss[coil];
            let coldest = |keep: f64| (tends + keep * (own - tends)).min(own);
            let full_at = |keep: f64| by_temperature[coil] / (self.room_k + coldest(keep));
            full[coil] = full_at(copper_keep[coil]);
            tick_full[coil] = full_at(tick_keep[coil]);
            // Never below the floor but for rounding.
            let inside = gain[coil] * (bound[coil] - keep[coil] * own) - most_w;
            caps[coil] = inside.max(self.floor_w[coil]);
        }
        if outside {
            self.come_back(rise);
        }
    }

    /// The least and the most that every node can be at within the horizon, for nodes inside the box;
    /// whether one is outside.
    fn look_ahead(&mut self, rise: &[f64]) -> bool {
        let mut outside = false;
        let nodes =
            self.keep.iter().zip(&self.tends).zip(self.bound.iter().zip(&self.bound_inverse));
        for ((ahead, rise), ((keep, tends), (bound, inverse))) in
            self.ahead.iter_mut().zip(rise).zip(nodes)
        {
            *ahead = [keep * rise, (tends + keep * (rise - tends)).min(*bound)];
            outside |= rise * inverse > OUTSIDE;
        }
        outside
    }

    /// After a start outside the box: whoever is out rests, nobody has more than the floor. All
    /// nodes then lie inside the box stretched by the worst of them, and that stretch only falls.
    fn come_back(&mut self, rise: &[f64]) {
        let coils = self.cap_w.len();
        for (coil, cap) in self.cap_w.iter_mut().enumerate() {
            let out = |node: usize| rise[node] * self.bound_inverse[node] > OUTSIDE;
            let rests = out(coil) || out(coils + coil);
            *cap = if rests { 0.0 } else { self.floor_w[coil] };
        }
    }
}
