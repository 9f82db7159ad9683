//! A second limiter to measure the first against: dense matrices, every row, every coil pair.
//!
//! The frame-end rule Phi theta + Gamma p <= box over all nodes, with each frame's requests taken
//! back row by row and then given back where room is left. O(n^2) per frame; slow PWM or the same
//! heat shares; no hold.

use coilscore::budget::BudgetSettings;

use super::plant::{Plant, heat_of};

pub(crate) struct Oracle {
    n: usize,
    phi: Vec<Vec<f64>>,
    gamma: Vec<Vec<f64>>,
    bound: Vec<f64>,
    floor: Vec<f64>,
    plant: Plant,
    pub(crate) rise: Vec<f64>,
}

impl Oracle {
    pub(crate) fn new(settings: &BudgetSettings, frame_s: f64) -> Self {
        let plant = Plant::new(settings);
        let (n, nodes) = (settings.coils.len(), plant.heat.len());
        let mut g = vec![vec![0.0; nodes]; nodes];
        for &(a, b, w) in &plant.paths {
            g[a][a] += w;
            if let Some(b) = b {
                g[b][b] += w;
                g[a][b] -= w;
                g[b][a] -= w;
            }
        }
        let full: Vec<f64> = plant
            .power_w(&vec![0; n])
            .iter()
            .enumerate()
            .map(|(i, _)| full_w(&plant, i, 0.0) * settings.coils[i].power_scale)
            .collect();
        let (phi, gamma) = exact_step(&g, &plant.heat, n, frame_s);
        let mut right = full.clone();
        right.resize(nodes, 0.0);
        let rise = solve(&g, &right);
        let limit = |i: usize| {
            let coil = &settings.coils[i % n];
            let c = if i < n { coil.heat.coil_limit.0 } else { coil.heat.backing_limit.0 };
            (c - settings.room.0) / (1.0 + coil.margin)
        };
        let share = (0..2 * n).map(|i| limit(i) / rise[i]).fold(f64::INFINITY, f64::min);
        Self {
            n,
            phi,
            gamma,
            bound: rise.iter().map(|r| r * share).collect(),
            floor: full.iter().map(|w| w * share).collect(),
            plant,
            rise: vec![0.0; nodes],
        }
    }

    /// Powers granted for duties 0 to 1, and the model moved on.
    pub(crate) fn frame(&mut self, duties: &[f64]) -> Vec<f64> {
        let n = self.n;
        let nodes = self.rise.len();
        let free = times(&self.phi, &self.rise);
        let asked: Vec<f64> = (0..n)
            .map(|i| {
                let code = (duties[i] * self.plant.coils[i].steps) as i32;
                heat_of(&self.plant.coils[i], code)
                    * full_w(&self.plant, i, self.rise[i].min(free[i]))
            })
            .collect();
        let base: Vec<f64> = (0..n).map(|i| asked[i].min(self.floor[i])).collect();
        let wanted: Vec<f64> = (0..n).map(|i| asked[i] - base[i]).collect();
        let mut extra = wanted.clone();
        let used = times(&self.gamma, &base);
        let room: Vec<f64> = (0..nodes).map(|r| self.bound[r] - free[r] - used[r]).collect();
        for r in 0..2 * n {
            let (row, own) = (&self.gamma[r], r % n);
            let sum = dot(row, &extra);
            if room[r] <= 0.0 {
                extra[own] = 0.0;
            } else if sum > room[r] {
                let rest = sum - row[own] * extra[own];
                extra[own] = extra[own].min(((room[r] - rest) / row[own]).max(0.0));
                if rest > room[r] {
                    for i in (0..n).filter(|&i| i != own) {
                        extra[i] *= room[r] / rest;
                    }
                }
            }
        }
        for i in 0..n {
            let spare = (0..2 * n)
                .filter(|&r| self.gamma[r][i] > 0.0 && (room[r] > 0.0 || r % n == i))
                .map(|r| (room[r] - dot(&self.gamma[r], &extra)) / self.gamma[r][i])
                .fold(f64::INFINITY, f64::min);
            extra[i] += spare.min(wanted[i] - extra[i]).max(0.0);
        }
        let power: Vec<f64> = (0..n).map(|i| base[i] + extra[i]).collect();
        let put = times(&self.gamma, &power);
        self.rise = (0..nodes).map(|r| free[r] + put[r]).collect();
        power
    }
}

fn full_w(plant: &Plant, i: usize, rise: f64) -> f64 {
    let coil = &plant.coils[i];
    let ohms = coil.ohms_at_reference * (234.5 + plant.room_c + rise) / (234.5 + coil.reference_c);
    coil.volts.powi(2) / ohms
}

/// Phi = e^(At) and Gamma = integral of e^(As) C^-1 over the step, from the exponential of
/// [[A, C^-1 I], [0, 0]] t by halving, series and squaring.
fn exact_step(g: &[Vec<f64>], heat: &[f64], n: usize, t: f64) -> (Vec<Vec<f64>>, Vec<Vec<f64>>) {
    let nodes = heat.len();
    let size = nodes + n;
    let halvings = 12;
    let h = t / f64::from(1 << halvings);
    let mut m = vec![vec![0.0; size]; size];
    for i in 0..nodes {
        for j in 0..nodes {
            m[i][j] = -g[i][j] / heat[i] * h;
        }
        if i < n {
            m[i][nodes + i] = h / heat[i];
        }
    }
    let one = |i: usize, j: usize| f64::from(u8::from(i == j));
    let mut sum: Vec<Vec<f64>> =
        (0..size).map(|i| (0..size).map(|j| one(i, j)).collect()).collect();
    let mut term = sum.clone();
    for k in 1..10 {
        term = product(&term, &m);
        for i in 0..size {
            for j in 0..size {
                term[i][j] /= f64::from(k);
                sum[i][j] += term[i][j];
            }
        }
    }
    for _ in 0..halvings {
        sum = product(&sum, &sum);
    }
    let part = |from: usize, to: usize| sum[..nodes].iter().map(|r| r[from..to].to_vec()).collect();
    (part(0, nodes), part(nodes, size))
}

/// Gauss elimination; these matrices are diagonally dominant, so no pivoting.
fn solve(g: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut a = g.to_vec();
    let mut b = right.to_vec();
    for k in 0..b.len() {
        for i in k + 1..b.len() {
            let f = a[i][k] / a[k][k];
            for j in k..b.len() {
                a[i][j] -= f * a[k][j];
            }
            b[i] -= f * b[k];
        }
    }
    for k in (0..b.len()).rev() {
        let known: f64 = (k + 1..b.len()).map(|j| a[k][j] * b[j]).sum();
        b[k] = (b[k] - known) / a[k][k];
    }
    b
}

fn product(a: &[Vec<f64>], b: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let column = |j: usize| -> Vec<f64> { b.iter().map(|row| row[j]).collect() };
    let columns: Vec<Vec<f64>> = (0..b[0].len()).map(column).collect();
    a.iter().map(|row| columns.iter().map(|c| dot(row, c)).collect()).collect()
}

fn times(a: &[Vec<f64>], v: &[f64]) -> Vec<f64> {
    a.iter().map(|row| dot(row, v)).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
