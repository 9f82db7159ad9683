//! The coils behind the board and its supply, invented: what they draw, and how warm they get.

/// The board's own supply.
pub const SUPPLY_V: f64 = 12.0;
const SUPPLY_OHM: f64 = 0.05;

/// Coils that warm up: a winding on a backing in a room, of each channel the same. Temperatures are
/// found in small steps, and the resistance of copper follows them (the resistance-rise method:
/// in proportion to 234.5 C above its temperature; IEC 60034-1 as quoted by others).
#[derive(Debug, Clone)]
pub struct Plant {
    pub room_c: f64,
    pub coil_j_per_k: f64,
    pub coil_to_backing_k_per_w: f64,
    pub backing_j_per_k: f64,
    pub backing_to_around_k_per_w: f64,
    /// Winding and backing per channel, over the room, K.
    pub rise_k: Vec<[f64; 2]>,
}

/// Far shorter than any time constant, s.
const STEP_S: f64 = 0.002;

impl Plant {
    /// All at the room's temperature.
    pub fn cold(channels: u16, room_c: f64, heat: [f64; 4]) -> Self {
        let [coil_j_per_k, coil_to_backing_k_per_w, backing_j_per_k, backing_to_around_k_per_w] =
            heat;
        let rise_k = vec![[0.0; 2]; channels.into()];
        Self {
            room_c,
            coil_j_per_k,
            coil_to_backing_k_per_w,
            backing_j_per_k,
            backing_to_around_k_per_w,
            rise_k,
        }
    }

    /// Resistance of a winding over that at the room's temperature.
    pub fn warmer(&self, channel: usize) -> f64 {
        let rise_k = self.rise_k.get(channel).map_or(0.0, |rise| rise[0]);
        1.0 + rise_k / (234.5 + self.room_c)
    }

    /// Time passes with this much power in each winding when cold.
    pub fn pass(&mut self, span_s: f64, cold_w: impl Fn(usize) -> f64) {
        let steps = (span_s / STEP_S).ceil().max(1.0);
        let step_s = span_s / steps;
        for channel in 0..self.rise_k.len() {
            let cold_w = cold_w(channel);
            for _ in 0..steps as usize {
                let power_w = cold_w / self.warmer(channel);
                let [coil, backing] = self.rise_k[channel];
                let inward_w = (coil - backing) / self.coil_to_backing_k_per_w;
                let outward_w = backing / self.backing_to_around_k_per_w;
                self.rise_k[channel] = [
                    coil + (power_w - inward_w) / self.coil_j_per_k * step_s,
                    backing + (inward_w - outward_w) / self.backing_j_per_k * step_s,
                ];
            }
        }
    }
}

/// Supply voltage and current for duties on coils of these resistances: by Ohm's law and slow PWM.
pub fn drawn(duties: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let conductance: f64 = duties.map(|(duty, ohm)| duty / ohm).sum();
    let volts = SUPPLY_V / (1.0 + SUPPLY_OHM * conductance);
    (volts, volts * conductance)
}
