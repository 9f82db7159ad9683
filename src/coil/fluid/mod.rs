//! Ferrofluid: how it magnetises, what it weighs in its liquid, when it grows spikes, how it follows.

pub mod lag;
pub mod langevin;
pub mod liquid;
pub mod preview;
pub mod response;
pub mod spikes;

pub use lag::{Lag, Way};
pub use liquid::Liquid;
pub use preview::Preview;

use super::turn::MU0;
use crate::units::Celsius;
use langevin::{langevin, log_sinh_over};

/// Standard acceleration of gravity, m/s2.
pub const GRAVITY: f64 = 9.80665;

/// A ferrofluid by its data sheet at 20 C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ferrofluid {
    /// Saturation magnetisation, A/m; 10 mT are 7,958 A/m.
    pub saturation_a_per_m: f64,
    /// Initial susceptibility.
    pub chi: f64,
    /// Density, kg/m3.
    pub density_kg_per_m3: f64,
}

/// A typical oil ferrofluid for displays: an estimate from common ranges, not a product.
pub const TYPICAL: Ferrofluid =
    Ferrofluid { saturation_a_per_m: 35_000.0, chi: 1.7, density_kg_per_m3: 1210.0 };

/// Oil expands by about this share per kelvin (common practice, no source).
const OIL_EXPANSION_PER_K: f64 = 7e-4;
/// Susceptibility falls by about this share per kelvin: thermal agitation 0.34 %, dilution by expansion
/// 0.07 %, magnetite itself some 0.1 % (an estimate).
const CHI_PER_K: f64 = -0.005;
/// Saturation: dilution and magnetite (an estimate).
const SATURATION_PER_K: f64 = -0.0013;

/// A blob of fluid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blob {
    /// Demagnetising factor along the field; 1/3 for a ball, 0 for a long thread, 1 for a flat film.
    pub demagnetising: f64,
    /// Half its width, m.
    pub radius_m: f64,
    /// Its length, m.
    pub length_m: f64,
}

impl Ferrofluid {
    /// The same fluid warmed; estimates, good for judging tolerance.
    pub fn at(&self, temperature: Celsius) -> Self {
        let rise = temperature.0 - 20.0;
        Self {
            saturation_a_per_m: self.saturation_a_per_m * (1.0 + SATURATION_PER_K * rise),
            chi: self.chi * (1.0 + CHI_PER_K * rise),
            density_kg_per_m3: self.density_kg_per_m3 / (1.0 + OIL_EXPANSION_PER_K * rise),
        }
    }

    /// Argument of the Langevin function per A/m inside the fluid.
    fn argument_per_h(&self) -> f64 {
        3.0 * self.chi / self.saturation_a_per_m
    }

    /// Magnetisation, A/m, by the field inside the fluid, A/m.
    pub fn magnetisation(&self, h_a_per_m: f64) -> f64 {
        self.saturation_a_per_m * langevin(self.argument_per_h() * h_a_per_m)
    }

    /// Magnetisation, A/m, of a body with this demagnetising factor in a field that would be `b_t`
    /// without it: solves H + N M(H) = B/mu0 by halving. 0 for fields below 0 or NaN.
    pub fn magnetisation_of(&self, demagnetising: f64, b_t: f64) -> f64 {
        let applied = b_t / MU0;
        let (mut low, mut high) = (0.0, applied.max(0.0));
        for _ in 0..70 {
            let h = f64::midpoint(low, high);
            if h + demagnetising * self.magnetisation(h) < applied {
                low = h;
            } else {
                high = h;
            }
        }
        self.magnetisation(f64::midpoint(low, high))
    }

    /// Magnetic pressure, Pa: mu0 times the integral of M over H from 0 (Rosensweig,
    /// Ferrohydrodynamics, 1985).
    pub fn pressure_pa(&self, h_a_per_m: f64) -> f64 {
        let ms = self.saturation_a_per_m;
        MU0 * ms * ms / (3.0 * self.chi) * log_sinh_over(self.argument_per_h() * h_a_per_m)
    }
}

/// Force per volume that a pull has to overcome, N/m3: weight in the liquid, and the interface that
/// holds a blob of this size together (0 for one that is already free; derived). Wetting of the wall
/// comes on top and has to be measured.
pub fn reduced_weight(
    density_difference_kg_per_m3: f64,
    interface_n_per_m: f64,
    blob: &Blob,
) -> f64 {
    density_difference_kg_per_m3 * GRAVITY
        + 2.0 * interface_n_per_m / (blob.radius_m * blob.length_m)
}
