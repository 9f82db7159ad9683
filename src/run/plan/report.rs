//! What a plan did, in figures.

use serde::Serialize;

use super::bounds::Bound;
use crate::frame::Gained;
use crate::run::render::RenderReport;

/// One coil over all songs of a run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoilGained {
    /// Mean size of its wishes.
    pub wished: f64,
    /// Duty that it can have for ever: the fixed clamp.
    pub clamp: f64,
    /// Squares of its wishes around their mean, added up over time, s.
    pub wish_motion_s: f64,
    /// Copper heat granted and clamped, J.
    pub energy_j: [f64; 2],
    /// Motion granted and clamped, s: as `wish_motion_s`, of duties.
    pub motion_s: [f64; 2],
    /// Correlation of duties with wishes, granted and clamped, -1 to 1.
    pub likeness: [f64; 2],
}

impl CoilGained {
    /// Whether its wishes move at all.
    pub(super) fn moves(&self) -> bool {
        self.wish_motion_s > 0.0 && self.motion_s[0] > 0.0
    }
}

/// A plan and what it gained.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanReport {
    /// Per coil: gain on its wishes. Empty where nothing had to be turned down.
    pub gains: Vec<f64>,
    /// What coils are called.
    pub names: Vec<String>,
    /// What rails are called.
    pub rails: Vec<String>,
    /// Per coil: what keeps it from more.
    pub bounds: Vec<Bound>,
    /// Per coil, over all songs: duty wished, granted, taken by the plan, the limiter, rails and
    /// driver; means.
    pub duty: Vec<[f64; 6]>,
    /// Per coil, against the clamp.
    pub coils: Vec<CoilGained>,
    /// All coils together.
    pub all: Gained,
}

/// Songs that were rendered as one run of heat.
#[derive(Debug, Clone)]
pub struct Planned {
    /// One report for each song; fewer when the run was stopped.
    pub songs: Vec<RenderReport>,
    /// What the plan did.
    pub plan: PlanReport,
}
