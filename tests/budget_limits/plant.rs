//! The judge: the same display as physics, written apart from the project's own model.
//!
//! Copper whose resistance follows its temperature at every instant, the heat of PWM by the
//! textbook formula (energy balance, with tau/T), and fourth-order Runge-Kutta in steps far below
//! every time constant, watched at each of them.

use coilscore::budget::BudgetSettings;

#[derive(Clone)]
pub(crate) struct Plant {
    pub(crate) room_c: f64,
    pub(crate) coils: Vec<PlantCoil>,
    /// Heat capacity per node: coils, backings, enclosure.
    pub(crate) heat: Vec<f64>,
    /// Node, node or room, conductance.
    pub(crate) paths: Vec<(usize, Option<usize>, f64)>,
    /// Rise over the room per node.
    pub(crate) rise: Vec<f64>,
}

#[derive(Clone)]
pub(crate) struct PlantCoil {
    pub(crate) volts: f64,
    pub(crate) ohms_at_reference: f64,
    pub(crate) reference_c: f64,
    pub(crate) x: f64,
    pub(crate) steps: f64,
}

impl Plant {
    pub(crate) fn new(settings: &BudgetSettings) -> Self {
        let n = settings.coils.len();
        let around = settings.enclosure.map(|_| 2 * n);
        let mut heat = vec![0.0; 2 * n];
        let mut paths = vec![];
        for (i, coil) in settings.coils.iter().enumerate() {
            heat[i] = coil.heat.coil.0;
            heat[n + i] = coil.heat.backing.0;
            paths.push((i, Some(n + i), 1.0 / coil.heat.coil_to_backing.0));
            paths.push((i, around, 1.0 / coil.heat.coil_to_around.0));
            paths.push((n + i, around, 1.0 / coil.heat.backing_to_around.0));
        }
        for pair in &settings.neighbours {
            let (a, b) = (pair.a.index(), pair.b.index());
            paths.push((a, Some(b), pair.coils.0));
            paths.push((n + a, Some(n + b), pair.backings.0));
        }
        if let Some(enclosure) = settings.enclosure {
            heat.push(enclosure.heat.0);
            paths.push((2 * n, None, 1.0 / enclosure.to_room.0));
        }
        let coils = settings.coils.iter().map(|coil| PlantCoil {
            volts: settings.rails[coil.rail].volts.0,
            ohms_at_reference: coil.resistance.0,
            reference_c: coil.reference.0,
            x: coil.period_over_tau,
            steps: f64::from(coil.steps),
        });
        let rise = vec![0.0; heat.len()];
        Self { room_c: settings.room.0, coils: coils.collect(), heat, paths, rise }
    }

    /// Starts where the budget believes to be.
    pub(crate) fn at(mut self, node_c: &[f64]) -> Self {
        self.rise = node_c.iter().map(|c| c - self.room_c).collect();
        self
    }

    /// Holds these compare values for `span_s` and shows every instant's rises.
    pub(crate) fn hold(&mut self, codes: &[i32], span_s: f64, mut watch: impl FnMut(&[f64])) {
        let shares: Vec<f64> = self.coils.iter().zip(codes).map(|(c, &d)| heat_of(c, d)).collect();
        let parts = (span_s * self.fastest() * 16.0).ceil().max(2.0);
        let h = span_s / parts;
        for _ in 0..parts as u64 {
            let k1 = self.speed(&self.rise, &shares);
            let k2 = self.speed(&along(&self.rise, h / 2.0, &k1), &shares);
            let k3 = self.speed(&along(&self.rise, h / 2.0, &k2), &shares);
            let k4 = self.speed(&along(&self.rise, h, &k3), &shares);
            for (i, rise) in self.rise.iter_mut().enumerate() {
                *rise += h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]);
            }
            watch(&self.rise);
        }
    }

    /// Supply current per coil at these compare values, now.
    pub(crate) fn supply_a(&self, codes: &[i32]) -> Vec<f64> {
        let each = self.coils.iter().zip(codes).zip(&self.rise);
        each.map(|((coil, &code), rise)| {
            heat_of(coil, code) * coil.volts / ohms(coil, self.room_c + rise)
        })
        .collect()
    }

    /// Power per coil at these compare values, now.
    pub(crate) fn power_w(&self, codes: &[i32]) -> Vec<f64> {
        let amps = self.supply_a(codes);
        amps.iter().zip(&self.coils).map(|(a, coil)| a * coil.volts).collect()
    }

    fn speed(&self, rise: &[f64], shares: &[f64]) -> Vec<f64> {
        let mut gain = vec![0.0; rise.len()];
        for (i, (coil, share)) in self.coils.iter().zip(shares).enumerate() {
            gain[i] = share * coil.volts.powi(2) / ohms(coil, self.room_c + rise[i]);
        }
        for &(a, b, conductance) in &self.paths {
            let flow = conductance * (rise[a] - b.map_or(0.0, |b| rise[b]));
            gain[a] -= flow;
            if let Some(b) = b {
                gain[b] += flow;
            }
        }
        gain.iter().zip(&self.heat).map(|(gain, heat)| gain / heat).collect()
    }

    fn fastest(&self) -> f64 {
        let mut loss = vec![0.0; self.heat.len()];
        for &(a, b, conductance) in &self.paths {
            loss[a] += conductance;
            if let Some(b) = b {
                loss[b] += conductance;
            }
        }
        loss.iter().zip(&self.heat).map(|(loss, heat)| loss / heat).fold(0.0, f64::max)
    }
}

fn along(from: &[f64], h: f64, speed: &[f64]) -> Vec<f64> {
    from.iter().zip(speed).map(|(a, v)| a + h * v).collect()
}

/// Copper by the resistance-rise method, K = 234.5.
fn ohms(coil: &PlantCoil, at_c: f64) -> f64 {
    coil.ohms_at_reference * (234.5 + at_c) / (234.5 + coil.reference_c)
}

/// Share of full heat: D - (tau/T)(1-e^(-DT/tau))(1-e^(-(1-D)T/tau))/(1-e^(-T/tau)), from the
/// energy balance V I_supply = R I_rms^2.
pub(crate) fn heat_of(coil: &PlantCoil, code: i32) -> f64 {
    let d = f64::from(code.abs()) / coil.steps;
    if coil.x.is_infinite() {
        return d;
    }
    if coil.x == 0.0 {
        return d * d;
    }
    let left = |span: f64| 1.0 - (-span * coil.x).exp();
    d - left(d) * left(1.0 - d) / (coil.x * left(1.0))
}
