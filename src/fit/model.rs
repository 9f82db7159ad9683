//! Readings against a network driven by the power that was measured.

#![expect(clippy::indexing_slicing, reason = "parameters and readings were counted when set up")]

use super::least::Problem;
use super::log::{Log, median};
use super::network::{Stepper, TwoNodes};
use crate::coil::copper::COPPER_K_C;

/// Parameters before the switches: logarithms of C_c, R_cb, C_b, R_ba, and of the cold resistance
/// over the one first seen.
pub(super) const OWN: usize = 5;

/// A log as a problem of least squares. After the [`OWN`] parameters come the shares of each
/// interval with a switch that pass before the power jumps, then, where asked for, the drift of the
/// surroundings in K over the log.
///
/// Nothing tells when within its interval a switch happened. Each moment is as likely as another,
/// so its share is a half give or take 1/sqrt(12), and the readings say the rest.
pub(super) struct Model<'a> {
    log: &'a Log,
    direct_w_per_k: f64,
    /// Per reading, weight of the winding's temperature; 0: set aside.
    pub(super) winding: Vec<f64>,
    /// Per reading, weight of the backing's temperature.
    pub(super) backing: Vec<f64>,
    /// How far the backing's thermometer is off the cold coil, K.
    pub(super) backing_off_k: f64,
    /// Noise of a reading, K: what the share of a switch is weighed against.
    pub(super) noise_k: f64,
    /// Look for drifting surroundings.
    pub(super) drift: bool,
}

/// A moment of a run.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub(super) winding_c: f64,
    pub(super) backing_c: f64,
    pub(super) around_c: f64,
}

impl<'a> Model<'a> {
    pub(super) fn new(log: &'a Log, direct_w_per_k: f64) -> Self {
        let seen = |seen: bool| if seen { 1.0 } else { 0.0 };
        let before = log.readings.iter().take_while(|r| r.time_s < log.on_s);
        let at_rest: Vec<f64> = before.filter_map(|reading| reading.backing_c).collect();
        let off_k = if at_rest.is_empty() { 0.0 } else { median(at_rest) - log.cold_c };
        Self {
            log,
            direct_w_per_k,
            winding: log.readings.iter().map(|r| seen(r.ohm.is_some())).collect(),
            backing: log.readings.iter().map(|r| seen(r.backing_c.is_some())).collect(),
            backing_off_k: off_k,
            noise_k: 0.3,
            drift: false,
        }
    }

    /// The network of some parameters.
    pub(super) fn network(&self, at: &[f64]) -> TwoNodes {
        TwoNodes {
            coil_j_per_k: libm::exp(at[0]),
            coil_to_backing_k_per_w: libm::exp(at[1]),
            backing_j_per_k: libm::exp(at[2]),
            backing_to_around_k_per_w: libm::exp(at[3]),
            coil_to_around_w_per_k: self.direct_w_per_k,
        }
    }

    /// Cold resistance of some parameters, ohm.
    pub(super) fn cold_ohm(&self, at: &[f64]) -> f64 {
        self.log.cold_ohm * libm::exp(at[4])
    }

    /// Temperature that a resistance means, C.
    pub(super) fn measured_c(&self, at: &[f64], ohm: f64) -> f64 {
        ohm / self.cold_ohm(at) * (COPPER_K_C + self.log.cold_c) - COPPER_K_C
    }

    /// Where a run starts: the network of a start guess, switches in the middle.
    pub(super) fn start(&self, network: &TwoNodes) -> Vec<f64> {
        let mut at = vec![
            libm::log(network.coil_j_per_k),
            libm::log(network.coil_to_backing_k_per_w),
            libm::log(network.backing_j_per_k),
            libm::log(network.backing_to_around_k_per_w),
            0.0,
        ];
        at.extend(self.log.jumps.iter().map(|_| 0.5));
        at.extend(self.drift.then_some(0.0));
        at
    }

    /// Runs through the log and shows every reading's moment.
    pub(super) fn run(&self, at: &[f64], mut show: impl FnMut(usize, Moment)) {
        let stepper = Stepper::new(&self.network(at));
        let readings = &self.log.readings;
        let length_s = readings[readings.len() - 1].time_s.max(1.0);
        let drift_k = if self.drift { at[at.len() - 1] } else { 0.0 };
        let mut switches = self.log.jumps.iter().zip(&at[OWN..]).peekable();
        let mut now = [self.log.cold_c; 2];
        for (k, reading) in readings.iter().enumerate() {
            let around_c = reading.around_c + drift_k * reading.time_s / length_s;
            show(k, Moment { winding_c: now[0], backing_c: now[1], around_c });
            let Some(next) = readings.get(k + 1) else { break };
            let span_s = next.time_s - reading.time_s;
            let middle_s = (next.time_s + reading.time_s) / 2.0;
            let around_c = (reading.around_c + next.around_c) / 2.0 + drift_k * middle_s / length_s;
            match switches.next_if(|(jump, _)| **jump == k) {
                Some((_, share)) => {
                    let first_s = share * span_s;
                    now = stepper.step(now, reading.power_w, around_c, first_s);
                    now = stepper.step(now, next.power_w, around_c, span_s - first_s);
                }
                None => {
                    let power_w = (reading.power_w + next.power_w) / 2.0;
                    now = stepper.step(now, power_w, around_c, span_s);
                }
            }
        }
    }
}

impl Problem for Model<'_> {
    fn residuals(&self, at: &[f64], out: &mut Vec<f64>) {
        out.clear();
        self.run(at, |k, moment| {
            let reading = &self.log.readings[k];
            if let Some(ohm) = reading.ohm
                && self.winding[k] > 0.0
            {
                out.push(self.winding[k] * (self.measured_c(at, ohm) - moment.winding_c));
            }
            if let Some(backing_c) = reading.backing_c
                && self.backing[k] > 0.0
            {
                let seen_c = backing_c - self.backing_off_k;
                out.push(self.backing[k] * (seen_c - moment.backing_c));
            }
        });
        let shares = &at[OWN..OWN + self.log.jumps.len()];
        out.extend(shares.iter().map(|share| self.noise_k * 12.0_f64.sqrt() * (share - 0.5)));
    }

    fn bounds(&self, parameter: usize) -> (f64, f64) {
        // Far beyond any coil: C from 0.01 to 1e5 J/K, R from 0.01 to 1000 K/W.
        let span = |low: f64, high: f64| (libm::log(low), libm::log(high));
        match parameter {
            0 | 2 => span(0.01, 1e5),
            1 | 3 => span(0.01, 1e3),
            4 => (-0.2, 0.2),
            shared if shared < OWN + self.log.jumps.len() => (0.0, 1.0),
            _ => (-50.0, 50.0),
        }
    }

    fn stride(&self, parameter: usize) -> f64 {
        if parameter < OWN { 1e-4 } else { 1e-2 }
    }
}
