//! One column of the timeline: what happened during a run of frames, ready to be joined with the
//! column after it.
//!
//! Everything is a sum with its weight or a highest value, so that joining loses nothing but
//! resolution: the means of a joined column are the means of its frames.

use crate::frame::{Meter, NodeMeter};

/// What a coil (or a pool of neighbouring coils) did.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CoilCell {
    /// Sizes of the duties added up over frames and coils, 1 = full duty.
    pub size_sum: f64,
    /// The same with signs.
    pub signed_sum: f64,
    /// Largest size.
    pub peak: f64,
}

impl CoilCell {
    /// Takes one duty in, -1 to 1.
    pub fn add(&mut self, duty: f64) {
        let size = duty.abs();
        self.size_sum += size;
        self.signed_sum += duty;
        self.peak = self.peak.max(size);
    }

    fn join(&mut self, later: &Self) {
        self.size_sum += later.size_sum;
        self.signed_sum += later.signed_sum;
        self.peak = self.peak.max(later.peak);
    }
}

/// A weighted mean in the making, and the highest value seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MeanCell {
    /// Values times the frames they cover.
    pub sum: f64,
    /// Frames covered.
    pub frames: f64,
    /// Highest value; `None` before the first.
    pub peak: Option<f64>,
}

impl MeanCell {
    /// Takes in a mean over so many frames and the highest value among them. What is not a number
    /// is left out.
    pub fn add(&mut self, mean: f64, peak: f64, frames: f64) {
        if mean.is_finite() && peak.is_finite() {
            self.sum += mean * frames;
            self.frames += frames;
            self.peak = Some(self.peak.map_or(peak, |before| before.max(peak)));
        }
    }

    /// Adds the frames of another.
    pub fn join(&mut self, later: &Self) {
        self.sum += later.sum;
        self.frames += later.frames;
        self.peak = highest(self.peak, later.peak);
    }

    /// Mean over the frames covered; `None` when there were none.
    pub fn mean(&self) -> Option<f64> {
        (self.frames > 0.0).then(|| self.sum / self.frames)
    }
}

/// Wishes and what became of them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Asked {
    /// Asked, in coils.
    pub wished: MeanCell,
    /// Granted.
    pub granted: MeanCell,
    /// Cut by heat.
    pub heat: MeanCell,
    /// Cut by a rail.
    pub rail: MeanCell,
    /// Cut by the driver.
    pub driver: MeanCell,
}

impl Asked {
    fn add(&mut self, meter: &Meter, frames: f64) {
        let values = [
            (&mut self.wished, meter.wished),
            (&mut self.granted, meter.granted),
            (&mut self.heat, meter.cut_heat),
            (&mut self.rail, meter.cut_rail),
            (&mut self.driver, meter.cut_driver),
        ];
        for (cell, value) in values {
            let value = f64::from(value);
            cell.add(value, value, frames);
        }
    }

    /// Adds the frames of another column.
    pub fn join(&mut self, later: &Self) {
        self.wished.join(&later.wished);
        self.granted.join(&later.granted);
        self.heat.join(&later.heat);
        self.rail.join(&later.rail);
        self.driver.join(&later.driver);
    }
}

/// A run of frames.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Column {
    /// Number of DUTY packets among them.
    pub duty_frames: u64,
    /// Rows of coils in display order.
    pub coils: Vec<CoilCell>,
    /// Highest level per row of bands, dBFS.
    pub levels: Vec<Option<f64>>,
    /// Winding closest to its bound.
    pub winding: Option<NodeMeter>,
    /// Backing closest to its bound.
    pub backing: Option<NodeMeter>,
    /// Highest temperature of the enclosure, C.
    pub enclosure_c: Option<f64>,
    /// Current per rail, A.
    pub rails: Vec<MeanCell>,
    /// Wishes and what became of them.
    pub asked: Asked,
    /// Heights of the fluid added up over the coils, 1 where full pull holds it.
    pub fluid: MeanCell,
}

impl Column {
    /// Nothing known yet.
    pub fn empty(rows: usize, levels: usize, rails: usize) -> Self {
        Self {
            coils: vec![CoilCell::default(); rows],
            levels: vec![None; levels],
            rails: vec![MeanCell::default(); rails],
            ..Self::default()
        }
    }

    /// Takes in a meter that covers `frames` frames of this column. `bands_per_level` neighbouring
    /// bands share a row.
    pub fn add_meter(&mut self, meter: &Meter, bands_per_level: usize, frames: f64) {
        for (row, bands) in self.levels.iter_mut().zip(meter.band_dbfs.chunks(bands_per_level)) {
            for &level in bands.iter().filter(|level| level.is_finite()) {
                *row = highest(*row, Some(f64::from(level)));
            }
        }
        let currents = meter.rail_mean_a.iter().zip(&meter.rail_peak_a);
        for (rail, (&mean, &peak)) in self.rails.iter_mut().zip(currents) {
            rail.add(f64::from(mean), f64::from(peak), frames);
        }
        self.winding = closest(self.winding, usable(meter.coil));
        self.backing = closest(self.backing, usable(meter.backing));
        let enclosure_c = f64::from(meter.enclosure_c);
        self.enclosure_c = highest(self.enclosure_c, Some(enclosure_c).filter(|c| c.is_finite()));
        self.asked.add(meter, frames);
    }

    /// Appends the column that follows in time.
    pub fn join(&mut self, later: &Self) {
        self.duty_frames += later.duty_frames;
        self.coils.iter_mut().zip(&later.coils).for_each(|(a, b)| a.join(b));
        self.levels.iter_mut().zip(&later.levels).for_each(|(a, b)| *a = highest(*a, *b));
        self.rails.iter_mut().zip(&later.rails).for_each(|(a, b)| a.join(b));
        self.winding = closest(self.winding, later.winding);
        self.backing = closest(self.backing, later.backing);
        self.enclosure_c = highest(self.enclosure_c, later.enclosure_c);
        self.asked.join(&later.asked);
        self.fluid.join(&later.fluid);
    }
}

fn highest(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (one, other) => one.or(other),
    }
}

/// A node without finite temperatures says nothing.
fn usable(node: NodeMeter) -> Option<NodeMeter> {
    (node.now_c.is_finite() && node.bound_c.is_finite()).then_some(node)
}

/// Of two nodes, the one with less left to its bound; of equals, the earlier.
pub(super) fn closest(a: Option<NodeMeter>, b: Option<NodeMeter>) -> Option<NodeMeter> {
    match (a, b) {
        (Some(a), Some(b)) if b.bound_c - b.now_c < a.bound_c - a.now_c => Some(b),
        (one, other) => one.or(other),
    }
}
