//! One coil, its magnet and the fluid in front of it; the distance that gives a chosen bias.

use thiserror::Error;

use super::law::{PullLaw, saturating_pull};
use crate::coil::fluid::{Blob, Ferrofluid, reduced_weight};
use crate::coil::iron::Iron;
use crate::coil::magnet::Magnet;
use crate::coil::space::{Local, Vec3};
use crate::coil::winding::Winding;
use crate::units::Amps;

/// What lies on the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench<'a> {
    /// The coil.
    pub winding: &'a Winding,
    /// Iron behind it.
    pub iron: Option<&'a Iron>,
    /// Its full current: u = 1.
    pub full: Amps,
    /// The magnet, on the coil's axis, magnetised the way positive current does.
    pub magnet: Magnet,
    /// Share of the magnet's field that iron between it and the fluid lets through; 1 without.
    pub shunt: f64,
    /// Where the fluid lies, seen from the middle of the coil's front copper.
    pub at: Vec3,
    /// Which way it is to go; length 1.
    pub along: Vec3,
    /// The fluid.
    pub fluid: Ferrofluid,
    /// Its shape.
    pub blob: Blob,
    /// Density of the fluid less that of the liquid, kg/m3.
    pub density_difference_kg_per_m3: f64,
    /// Tension between them, N/m; 0 for a blob that is already free.
    pub interface_n_per_m: f64,
}

/// Why no distance gives the wanted bias.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum BiasError {
    /// Not a share of the lifting pull.
    #[error(
        "a bias of {share} of the lifting pull: choose between 0 and 1; at 1 the magnet lifts alone"
    )]
    Share {
        /// As asked.
        share: f64,
    },
    /// Too weak a magnet.
    #[error(
        "no distance gives {share} of the lifting pull: the most is {best:.3}, with the magnet's face \
         {:.1} mm behind the coil's front; take a stronger or larger magnet, or bring the fluid nearer",
        -.face_z_m * 1e3
    )]
    TooWeak {
        /// As asked.
        share: f64,
        /// The largest share there is.
        best: f64,
        /// Where.
        face_z_m: f64,
    },
    /// Too strong a magnet.
    #[error(
        "even with its face {:.0} mm behind the coil's front the magnet gives {least:.3} of the lifting \
         pull, more than {share}: take a smaller or weaker one, or move it further back",
        -.face_z_m * 1e3
    )]
    TooStrong {
        /// As asked.
        share: f64,
        /// At the far end.
        least: f64,
        /// The far end.
        face_z_m: f64,
    },
}

/// Places looked at between far and near; the crossing is then narrowed down.
const PLACES: u32 = 400;

impl Bench<'_> {
    /// Weight to overcome, N/m3.
    pub fn weight_n_per_m3(&self) -> f64 {
        reduced_weight(self.density_difference_kg_per_m3, self.interface_n_per_m, &self.blob)
    }

    /// The magnet's field at the fluid with its face at `face_z_m` (negative: behind the coil's
    /// front).
    pub fn bias(&self, face_z_m: f64) -> Local {
        let from_face = self.at - Vec3::new(0.0, 0.0, face_z_m);
        self.magnet.local(from_face, self.along) * self.shunt
    }

    /// The coil's field at the fluid at full current.
    pub fn coil(&self) -> Local {
        self.winding.local_per_amp(self.iron, self.at, self.along) * self.full.0
    }

    /// Pull over weight against current with the magnet there.
    pub fn law(&self, face_z_m: f64) -> PullLaw {
        self.law_with(self.bias(face_z_m))
    }

    /// The same in any bias field.
    pub fn law_with(&self, bias: Local) -> PullLaw {
        self.law_of(bias, self.coil())
    }

    /// The same for any coil field at full current.
    pub fn law_of(&self, bias: Local, coil: Local) -> PullLaw {
        PullLaw::new(&self.fluid, &self.blob, self.weight_n_per_m3(), bias, coil)
    }

    /// Pull over weight at a current, with the fluid's saturation.
    pub fn saturating_pull(&self, face_z_m: f64, u: f64) -> f64 {
        let field = self.bias(face_z_m) + self.coil() * u;
        saturating_pull(&self.fluid, &self.blob, self.weight_n_per_m3(), field)
    }

    /// Place of the magnet's face at which it alone gives `share` of the lifting pull: the furthest
    /// one, between `far_z_m` and `near_z_m` (both negative, far below near).
    ///
    /// # Errors
    /// When there is none, with what could be had.
    pub fn face_for(&self, share: f64, far_z_m: f64, near_z_m: f64) -> Result<f64, BiasError> {
        if !(share > 0.0 && share < 1.0) {
            return Err(BiasError::Share { share });
        }
        let (weight, k) = (self.weight_n_per_m3(), self.coil());
        let q0 = |face_z_m: f64| {
            PullLaw::new(&self.fluid, &self.blob, weight, self.bias(face_z_m), k).q0
        };
        let least = q0(far_z_m);
        if least >= share {
            return Err(BiasError::TooStrong { share, least, face_z_m: far_z_m });
        }
        let (mut best, mut best_at, mut before) = (least, far_z_m, far_z_m);
        for place in 1..=PLACES {
            let way = f64::from(place) / f64::from(PLACES);
            let here = far_z_m + way * (near_z_m - far_z_m);
            let pull = q0(here);
            if pull >= share {
                return Ok(crossing(q0, share, before, here));
            }
            if pull > best {
                (best, best_at) = (pull, here);
            }
            before = here;
        }
        Err(BiasError::TooWeak { share, best, face_z_m: best_at })
    }
}

/// Halves the way from below `share` to above it.
fn crossing(q0: impl Fn(f64) -> f64, share: f64, below: f64, above: f64) -> f64 {
    let (mut below, mut above) = (below, above);
    for _ in 0..60 {
        let middle = f64::midpoint(below, above);
        if q0(middle) < share {
            below = middle;
        } else {
            above = middle;
        }
    }
    f64::midpoint(below, above)
}
