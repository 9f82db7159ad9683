//! What the fluid will do, and how far from the sound.

use crate::coil::fluid::{Lag, Preview, Way};
use crate::frame::{Head, LagHead, WayHead};
use crate::units::{Rate, Seconds};

/// Longest lateness that is looked for, s, and in how many frames at most.
const LONGEST_S: f64 = 1.0;
const MOST_FRAMES: f64 = 400.0;

/// Follows all coils of a file, and how late their sum is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fluid {
    preview: Preview,
    coils: f64,
    period_s: f64,
    /// How late the duties show their sound, less how far they lead it, s.
    duties_late_s: f64,
    /// Mean pulls of the last frames, the newest at `at`.
    pulls: Vec<f64>,
    at: usize,
    frames: f64,
    pull_sum: f64,
    height_sum: f64,
    /// Height times the pull so many frames before, added up.
    products: Vec<f64>,
}

impl Fluid {
    /// For a file whose head says how late its fluid follows.
    pub(super) fn new(head: &Head, coils: usize, rate: Rate) -> Option<Self> {
        let lag = lag(&head.lag?)?;
        let period_s = rate.period().0;
        let longest = (LONGEST_S / period_s).clamp(1.0, MOST_FRAMES);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 400")]
        let longest = longest as usize;
        let mut delays: Vec<f64> = head.bands.iter().map(|band| band.delay_s).collect();
        delays.sort_by(f64::total_cmp);
        let heard_s = delays.get(delays.len() / 2).copied().unwrap_or(0.0);
        Some(Self {
            preview: Preview::new(&lag, coils, rate),
            coils: coils as f64,
            period_s,
            duties_late_s: heard_s + 0.5 * period_s - f64::from(head.lead_us) * 1e-6,
            pulls: vec![0.0; longest],
            at: 0,
            frames: 0.0,
            pull_sum: 0.0,
            height_sum: 0.0,
            products: vec![0.0; longest],
        })
    }

    /// One frame of duties, -1 to 1 per coil; the heights added up, at its end.
    pub(super) fn step(&mut self, duties: &[f64]) -> f64 {
        let pull = duties.iter().map(|duty| duty.abs()).sum::<f64>();
        let heights = self.preview.step(duties.iter().map(|duty| duty.abs()));
        let height = heights.iter().sum::<f64>();
        self.at = (self.at + 1) % self.pulls.len().max(1);
        if let Some(newest) = self.pulls.get_mut(self.at) {
            *newest = pull;
        }
        let (newer, older) = self.pulls.split_at((self.at + 1).min(self.pulls.len()));
        let back = newer.iter().rev().chain(older.iter().rev());
        for (product, pull) in self.products.iter_mut().zip(back) {
            *product += height * pull;
        }
        self.frames += 1.0;
        self.pull_sum += pull;
        self.height_sum += height;
        height
    }

    /// How late the fluid is against the sound, s: the shift at which heights and pulls agree best,
    /// with how late the pulls are. Below 0: early. `None` where nothing moved.
    pub(super) fn late_s(&self) -> Option<f64> {
        let mean = self.pull_sum * self.height_sum / self.frames.max(1.0);
        let agree = |shift: usize| self.products.get(shift).map(|product| product - mean);
        let best = (0..self.products.len())
            .filter_map(|shift| Some((shift, agree(shift)?)))
            .max_by(|(_, a), (_, b)| a.total_cmp(b))
            .filter(|(_, best)| *best > 1e-9 * self.coils)?;
        // Between frames, by a parabola through the best and its neighbours. The height is that of
        // the frame's end.
        let (shift, top) = best;
        let sides = shift.checked_sub(1).and_then(agree).zip(agree(shift + 1));
        let part = sides.map_or(0.0, |(before, after)| {
            let bend = before - 2.0 * top + after;
            if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 }
        });
        Some((shift as f64 + part + 0.5) * self.period_s + self.duties_late_s)
    }
}

/// The model that a head describes; `None` for numbers that make none.
fn lag(head: &LagHead) -> Option<Lag> {
    let way = |way: &WayHead| {
        let possible = (0.0..=10.0).contains(&way.dead_s)
            && (0.01..=10_000.0).contains(&way.natural_rad_per_s)
            && (0.001..=100.0).contains(&way.damping);
        let hertz = way.natural_rad_per_s / std::f64::consts::TAU;
        possible.then(|| Way::new(Seconds(way.dead_s), hertz, way.damping))
    };
    Some(Lag { rise: way(&head.rise)?, fall: way(&head.fall)? })
}
