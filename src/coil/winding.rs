//! A winding as rings on one axis: every radius at every level.
//!
//! A true spiral of the same mean radius has the same length; its field differs by its leads, one to
//! two per cent (common practice, no source). The front copper lies at z = 0, the rest behind it at
//! negative z; the fluid is at positive z.

use core::f64::consts::PI;

use super::inductance;
use super::iron::Iron;
use super::space::{Local, Meridian, Vec3};
use super::turn;
use crate::units::Henries;

/// Copper of one level: a layer of a board, or one turn of each layer of a wound coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Cross-section of the conductor, m2.
    pub area_m2: f64,
    /// Geometric mean distance of the section from itself, m; see [`turn::own`].
    pub mean_radius_m: f64,
}

/// Rings on one axis. Built by [`super::geometry`], or ring by ring.
#[derive(Debug, Clone, PartialEq)]
pub struct Winding {
    radii_m: Vec<f64>,
    levels: Vec<Level>,
    pitch_m: f64,
}

impl Winding {
    /// From the radii that every level has, the levels from front to back, and their distance.
    /// `None` without a ring, or when a length is not above 0 and finite.
    pub fn new(radii_m: Vec<f64>, levels: Vec<Level>, pitch_m: f64) -> Option<Self> {
        let sound = |length: f64| length > 0.0 && length.is_finite();
        let whole = !radii_m.is_empty() && !levels.is_empty();
        let all = radii_m.iter().copied().all(sound)
            && levels.iter().all(|level| sound(level.area_m2) && sound(level.mean_radius_m))
            && (sound(pitch_m) || levels.len() == 1);
        (whole && all).then_some(Self { radii_m, levels, pitch_m })
    }

    /// Turns in all.
    pub fn turns(&self) -> usize {
        self.radii_m.len() * self.levels.len()
    }

    /// Radii of one level, m, from the inside.
    pub fn radii_m(&self) -> &[f64] {
        &self.radii_m
    }

    /// Levels from front to back.
    pub fn levels(&self) -> &[Level] {
        &self.levels
    }

    /// Distance of one level from the next, m.
    pub fn pitch_m(&self) -> f64 {
        self.pitch_m
    }

    /// From the front copper to the rearmost, middle to middle, m.
    pub fn depth_m(&self) -> f64 {
        if self.levels.len() > 1 { self.pitch_m * (self.levels.len() - 1) as f64 } else { 0.0 }
    }

    /// Length of the conductor, m.
    pub fn length_m(&self) -> f64 {
        self.level_length_m() * self.levels.len() as f64
    }

    /// Length of the conductor on one level, m.
    pub fn level_length_m(&self) -> f64 {
        2.0 * PI * self.radii_m.iter().sum::<f64>()
    }

    /// Copper in the winding, m3.
    pub fn copper_m3(&self) -> f64 {
        self.level_length_m() * self.levels.iter().map(|level| level.area_m2).sum::<f64>()
    }

    /// Radius of the disc that has the mean area of the winding's rings, as if they filled evenly
    /// from the innermost to the outermost: the one size that says how deep the field reaches.
    pub fn mean_area_radius_m(&self) -> f64 {
        let inner = self.radii_m.first().copied().unwrap_or(0.0);
        let outer = self.radii_m.last().copied().unwrap_or(0.0);
        ((inner * inner + inner * outer + outer * outer) / 3.0).sqrt()
    }

    /// Field per ampere at `r_m` from the axis and `z_m` in front of the front copper, T/A.
    pub fn field_per_amp(&self, iron: Option<&Iron>, r_m: f64, z_m: f64) -> Meridian {
        let air = self.sum(r_m, |level| z_m + level);
        let Some(iron) = iron else { return air };
        let face = iron.face_z_m();
        let image = self.sum(r_m, |level| z_m - (2.0 * face + level));
        let weight = iron.weight_at(self, z_m);
        let mut all = air + image * weight.weight;
        all.br_by_z += weight.by_z * image.br;
        all.bz_by_z += weight.by_z * image.bz;
        all
    }

    /// Sum over all rings; `height` of the point above a ring that lies `level` behind the front.
    fn sum(&self, r_m: f64, height: impl Fn(f64) -> f64) -> Meridian {
        let mut all = Meridian::default();
        for level in 0..self.levels.len() {
            let z_m = height(self.pitch_m * level as f64);
            for radius_m in &self.radii_m {
                all = all + turn::field_per_amp(*radius_m, r_m, z_m);
            }
        }
        all
    }

    /// The same in space, for a coil whose front copper is centred at the origin.
    pub fn local_per_amp(&self, iron: Option<&Iron>, at: Vec3, along: Vec3) -> Local {
        self.field_per_amp(iron, libm::hypot(at.x, at.y), at.z).local(at, along)
    }

    /// Inductance, in air or in front of iron.
    pub fn inductance(&self, iron: Option<&Iron>) -> Henries {
        let air = inductance::in_air(self);
        let more = iron.map_or(0.0, |iron| inductance::from_image(self, iron));
        Henries(air + more)
    }
}
