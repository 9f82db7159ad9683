//! Iron behind a coil, as a mirror of the coil with a weight.
//!
//! An endless thick plate is a mirror: the coil seems to stand a second time as far behind the iron's
//! face as it is in front, with weight (mu_r - 1)/(mu_r + 1), so the field never quite doubles. A thin
//! plate lets part through, a disc ends. Both lower the weight. Unsaturated iron throughout.

use super::winding::Winding;

/// A plate or disc of iron, its face towards the coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Iron {
    /// A weight that was measured or taken from elsewhere, the same at every place.
    Weight {
        /// Place of the face, m: 0 is the coil's front copper, negative is behind it.
        face_z_m: f64,
        /// 0 to 1.
        weight: f64,
    },
    /// Reckoned from size and material.
    Plate {
        /// Place of the face, m: 0 is the coil's front copper, negative is behind it.
        face_z_m: f64,
        /// Infinite allowed.
        thickness_m: f64,
        /// Radius of the disc; infinite for a plate shared by all coils.
        radius_m: f64,
        /// Relative permeability, linear: 100 and less for alloys and cast iron, 1000 and more for mild steel and
        /// soft iron (common practice, no source).
        mu_r: f64,
    },
}

/// Weight of the mirror image, and how it changes along the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MirrorWeight {
    /// 0 to 1.
    pub weight: f64,
    /// Per metre away from the iron.
    pub by_z: f64,
}

impl Iron {
    /// Place of the face, m.
    pub fn face_z_m(&self) -> f64 {
        match *self {
            Self::Weight { face_z_m, .. } | Self::Plate { face_z_m, .. } => face_z_m,
        }
    }

    /// Weight of the image at a field point at height `z_m`.
    ///
    /// Endless plates: exact for a current of the spatial frequency 1/a_e, which stands for the whole
    /// coil (derived). Discs: weight / (1 + 1.31 (a_e/R)^1.8 (s/R)^0.9), s from the face to the point:
    /// fitted to an axially symmetric finite-volume solution, discs of 10 to 38 mm radius and coils of
    /// 10 to 20 mm; the whole field is then right within 5.6 % (3.6 % for discs no smaller than the
    /// coil, 1.7 % RMS), against that solver, not against hardware.
    pub fn weight_at(&self, winding: &Winding, z_m: f64) -> MirrorWeight {
        match *self {
            Self::Weight { weight, .. } => MirrorWeight { weight, by_z: 0.0 },
            Self::Plate { face_z_m, thickness_m, radius_m, mu_r } => {
                let size_m = winding.mean_area_radius_m();
                let plate = plate_weight(mu_r, thickness_m, size_m);
                let s = (z_m - face_z_m).max(0.0);
                disc_weight(plate, size_m, radius_m, s)
            }
        }
    }

    /// Weight for the coil's own inductance: the image as the coil itself sees it, at its middle.
    pub fn weight_at_coil(&self, winding: &Winding) -> f64 {
        self.weight_at(winding, -winding.depth_m() / 2.0).weight
    }
}

/// Weight of an endless plate of this thickness, for a coil whose mean radius by area is `size_m`.
pub fn plate_weight(mu_r: f64, thickness_m: f64, size_m: f64) -> f64 {
    let thick = (mu_r - 1.0) / (mu_r + 1.0);
    let through = libm::exp(-2.0 * thickness_m / size_m);
    thick * (1.0 - through) / (1.0 - thick * thick * through)
}

fn disc_weight(plate: f64, size_m: f64, radius_m: f64, s_m: f64) -> MirrorWeight {
    if radius_m == f64::INFINITY {
        return MirrorWeight { weight: plate, by_z: 0.0 };
    }
    let edge = 1.31 * libm::pow(size_m / radius_m, 1.8) * libm::pow(s_m / radius_m, 0.9);
    let weight = plate / (1.0 + edge);
    let edge_by_z = if s_m > 0.0 { 0.9 * edge / s_m } else { 0.0 };
    MirrorWeight { weight, by_z: -weight * edge_by_z / (1.0 + edge) }
}

/// Conductivity of mild steel, S/m (common practice, no source).
pub const MILD_STEEL_S_PER_M: f64 = 6e6;

/// Weight of the image in solid iron for alternating current: real and imaginary part.
///
/// Eddy currents keep the field out of the iron, so at PWM frequencies it is a much poorer mirror than
/// for the mean current: reckon ripple and heat with the inductance in air, the field with the iron.
/// Derived: plane boundary, spatial frequency k = 1/size, gamma^2 = k^2 + i w mu sigma.
pub fn weight_at_frequency(mu_r: f64, s_per_m: f64, size_m: f64, hz: f64) -> (f64, f64) {
    let k = 1.0 / size_m;
    let loss = 2.0 * core::f64::consts::PI * hz * super::turn::MU0 * mu_r * s_per_m;
    // Square root of k^2 + i loss.
    let size = libm::hypot(k * k, loss);
    let (re, im) = (((size + k * k) / 2.0).sqrt(), ((size - k * k) / 2.0).sqrt());
    // (mu k - gamma) / (mu k + gamma)
    let (up_re, down_re) = (mu_r * k - re, mu_r * k + re);
    let down = down_re * down_re + im * im;
    ((up_re * down_re - im * im) / down, (-im * down_re - im * up_re) / down)
}

/// What iron between a magnet and the coil does to the bias field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shield {
    /// The disc is no wider than the magnet: it conducts the field forwards. Factors from `low` to
    /// `high`; reckon with 1.
    Open {
        /// Least factor seen.
        low: f64,
        /// Largest factor seen.
        high: f64,
    },
    /// Wider iron leads the field around the coil: the model does not hold, the factor has to be
    /// measured with and without the iron. Here is what a solver gave for discs like it.
    Measure {
        /// Least factor seen.
        low: f64,
        /// Largest factor seen.
        high: f64,
    },
}

/// Whether iron of this radius leaves the field of a magnet of this radius behind it alone.
///
/// Figures of the same linear finite-volume solution, magnet 10 mm x 5 mm, 8 and 12 mm behind the
/// coil's front, 5 mm of iron, field 8 mm in front: radius 1.0 times the magnet's 1.07 to 1.09, 1.75 times
/// 0.37 to 0.51, 2.4 times 0.18 to 0.26, endless plate 0.009 to 0.011. Thin iron saturates and shields less.
pub fn shield(magnet_radius_m: f64, iron_radius_m: f64) -> Shield {
    match iron_radius_m / magnet_radius_m {
        wide if wide <= 1.0 => Shield::Open { low: 1.0, high: 1.1 },
        wide if wide <= 1.75 => Shield::Measure { low: 0.37, high: 1.09 },
        wide if wide <= 2.4 => Shield::Measure { low: 0.18, high: 0.51 },
        _ => Shield::Measure { low: 0.009, high: 0.26 },
    }
}
