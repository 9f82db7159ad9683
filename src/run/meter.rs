//! What the engine says at every frame, condensed to what a person can follow.

use crate::budget::{Budget, BudgetSettings, Load};
use crate::engine::Step;
use crate::frame::record::frames_per_meter;
use crate::frame::{Meter, NodeMeter};

/// Collects frames into [`Meter`]s: highest levels, mean duties and currents since the last one.
/// Allocates in [`Metering::new`] only.
#[derive(Debug)]
pub struct Metering {
    every: u32,
    frames: u32,
    now: Meter,
    limits_c: Box<[f32]>,
    coils: usize,
    sums: Sums,
    peaks: Peaks,
}

/// Running sums over the frames of one meter.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    wished: f64,
    granted: f64,
    cut_heat: f64,
    cut_rail: f64,
    cut_driver: f64,
}

/// Highest values of the whole run.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Peaks {
    /// Winding closest to its bound, when it was closest.
    pub coil: NodeMeter,
    /// Backing closest to its bound, when it was closest.
    pub backing: NodeMeter,
}

impl Metering {
    /// For an engine with these coils and rails and this many bands.
    pub fn new(budget: &BudgetSettings, bands: usize) -> Self {
        let coils = budget.coils.len();
        let limits = budget.coils.iter().map(|c| c.heat.coil_limit.0);
        let limits = limits.chain(budget.coils.iter().map(|c| c.heat.backing_limit.0));
        Self {
            every: frames_per_meter(budget.frame_rate),
            frames: 0,
            now: Meter {
                band_dbfs: vec![f32::NEG_INFINITY; bands],
                rail_mean_a: vec![0.0; budget.rails.len()],
                rail_peak_a: vec![0.0; budget.rails.len()],
                ..Meter::default()
            },
            limits_c: limits.map(narrow).collect(),
            coils,
            sums: Sums::default(),
            peaks: Peaks::default(),
        }
    }

    /// Takes one frame in.
    pub fn add(&mut self, step: &Step<'_>) {
        self.take(step.number, step.heard.quiet, step.heard.band_dbfs, &step.load);
    }

    /// Takes the parts of a frame in.
    pub(super) fn take(&mut self, number: u32, quiet: bool, band_dbfs: &[f32], load: &Load<'_>) {
        if self.frames == 0 {
            self.clear();
        }
        self.frames += 1;
        self.now.frame = number;
        self.now.quiet = quiet;
        for (top, &level) in self.now.band_dbfs.iter_mut().zip(band_dbfs) {
            *top = top.max(level);
        }
        let means = self.now.rail_mean_a.iter_mut().zip(&mut self.now.rail_peak_a);
        for ((mean, peak), &amps) in means.zip(load.rail_a) {
            *mean += narrow(amps);
            *peak = peak.max(narrow(amps));
        }
        self.sums.wished += load.wished;
        self.sums.granted += load.granted;
        self.sums.cut_heat += load.cut_heat;
        self.sums.cut_rail += load.cut_rail;
        self.sums.cut_driver += load.cut_driver;
    }

    /// The meter, once enough frames are in; then starts the next one.
    pub fn due(&mut self, budget: &Budget) -> Option<&Meter> {
        if self.frames < self.every { None } else { self.rest(budget) }
    }

    /// The meter over whatever frames are in; `None` when there are none.
    pub fn rest(&mut self, budget: &Budget) -> Option<&Meter> {
        if self.frames == 0 {
            return None;
        }
        let per_frame = 1.0 / f64::from(self.frames);
        for mean in &mut self.now.rail_mean_a {
            *mean = narrow(f64::from(*mean) * per_frame);
        }
        self.now.wished = narrow(self.sums.wished * per_frame);
        self.now.granted = narrow(self.sums.granted * per_frame);
        self.now.cut_heat = narrow(self.sums.cut_heat * per_frame);
        self.now.cut_rail = narrow(self.sums.cut_rail * per_frame);
        self.now.cut_driver = narrow(self.sums.cut_driver * per_frame);
        self.read_heat(budget);
        self.frames = 0;
        self.sums = Sums::default();
        Some(&self.now)
    }

    /// Highest values so far.
    pub fn peaks(&self) -> Peaks {
        self.peaks
    }

    fn clear(&mut self) {
        self.now.band_dbfs.fill(f32::NEG_INFINITY);
        self.now.rail_mean_a.fill(0.0);
        self.now.rail_peak_a.fill(0.0);
    }

    fn read_heat(&mut self, budget: &Budget) {
        let (now, bound) = (budget.load().node_c, budget.bound_c());
        let nodes = now.iter().zip(bound).zip(&self.limits_c);
        let closest = |skip: usize| {
            let coils = nodes.clone().skip(skip).take(self.coils).enumerate();
            let meters = coils.map(|(coil, ((&now, &bound), &limit_c))| NodeMeter {
                coil: u32::try_from(coil).unwrap_or(u32::MAX),
                now_c: narrow(now),
                bound_c: narrow(bound),
                limit_c,
            });
            meters.min_by(|a, b| room_left(a).total_cmp(&room_left(b))).unwrap_or_default()
        };
        self.now.coil = closest(0);
        self.now.backing = closest(self.coils);
        self.now.enclosure_c = narrow(now.get(2 * self.coils).copied().unwrap_or(budget.room_c()));
        keep_closest(&mut self.peaks.coil, self.now.coil);
        keep_closest(&mut self.peaks.backing, self.now.backing);
    }
}

fn room_left(node: &NodeMeter) -> f32 {
    node.bound_c - node.now_c
}

fn keep_closest(kept: &mut NodeMeter, now: NodeMeter) {
    if *kept == NodeMeter::default() || room_left(&now) < room_left(kept) {
        *kept = now;
    }
}

#[expect(clippy::cast_possible_truncation, reason = "meters are read by people; f32 is plenty")]
fn narrow(value: f64) -> f32 {
    value as f32
}
