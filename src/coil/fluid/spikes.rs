//! When a flat surface in a field across it grows spikes: the normal-field instability.

use core::f64::consts::PI;

use super::GRAVITY;
use crate::coil::turn::MU0;

/// What decides it, for a deep layer and a susceptibility that does not fall with the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// Density of the fluid less that of what lies above it, kg/m3.
    pub density_difference_kg_per_m3: f64,
    /// Tension of the interface, N/m.
    pub interface_n_per_m: f64,
    /// Susceptibility.
    pub chi: f64,
}

/// Where spikes begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spikes {
    /// Magnetisation, A/m.
    pub magnetisation_a_per_m: f64,
    /// Field inside the fluid, A/m.
    pub h_a_per_m: f64,
    /// Field before the fluid was there, T.
    pub applied_t: f64,
    /// Wavelength, m.
    pub wavelength_m: f64,
    /// From peak to peak of the hexagonal pattern, m.
    pub spacing_m: f64,
}

impl Surface {
    /// Threshold of Cowley and Rosensweig (J. Fluid Mech. 30, 1967): mu0 Mc^2 = 2 (2 + chi)/(1 + chi)
    /// sqrt(density difference * g * tension).
    pub fn spikes(&self) -> Spikes {
        let Self { density_difference_kg_per_m3: density, interface_n_per_m: tension, chi } = *self;
        let stiffness = (density * GRAVITY * tension).sqrt();
        let magnetisation = (2.0 / MU0 * (2.0 + chi) / (1.0 + chi) * stiffness).sqrt();
        let wavelength_m = 2.0 * PI * (tension / (density * GRAVITY)).sqrt();
        Spikes {
            magnetisation_a_per_m: magnetisation,
            h_a_per_m: magnetisation / chi,
            applied_t: MU0 * (1.0 + chi) * magnetisation / chi,
            wavelength_m,
            spacing_m: 2.0 / 3.0_f64.sqrt() * wavelength_m,
        }
    }
}
