//! Permanent magnets: the bias field.
//!
//! A magnet stands behind the coil with its front face at some z, magnetised along the axis towards
//! the fluid. Ideal: evenly magnetised, of permeability 1, so its field is that of currents (or
//! charges) on its faces, in closed form. [`grade`] says how strong it is and how much heat it stands.

pub mod block;
pub mod disc;
pub mod grade;

pub use block::Block;
pub use disc::Disc;

use super::space::{Local, Vec3};

/// A magnet, seen from the middle of its front face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Magnet {
    /// Round.
    Disc(Disc),
    /// With corners.
    Block(Block),
}

impl Magnet {
    /// Field at a place seen from the middle of the front face, and its change along a direction.
    pub fn local(&self, from_face: Vec3, along: Vec3) -> Local {
        match self {
            Self::Disc(disc) => disc.local(from_face, along),
            Self::Block(block) => block.local(from_face, along),
        }
    }

    /// The same magnet of another strength.
    pub fn with_remanence(self, remanence_t: f64) -> Self {
        match self {
            Self::Disc(disc) => Self::Disc(Disc { remanence_t, ..disc }),
            Self::Block(block) => Self::Block(Block { remanence_t, ..block }),
        }
    }

    /// Its strength, T.
    pub fn remanence_t(&self) -> f64 {
        match self {
            Self::Disc(disc) => disc.remanence_t,
            Self::Block(block) => block.remanence_t,
        }
    }

    /// Radius of the disc of equal area.
    pub fn radius_m(&self) -> f64 {
        match self {
            Self::Disc(disc) => disc.radius_m,
            Self::Block(block) => (block.width_m * block.height_m / core::f64::consts::PI).sqrt(),
        }
    }

    /// Field in the middle of its front face, T, without anything near: what a gauss meter shows
    /// there, and the quickest way to learn a magnet's strength.
    pub fn face_t(&self) -> f64 {
        match self {
            Self::Disc(disc) => disc.axis_t(0.0),
            Self::Block(block) => block.axis_t(0.0),
        }
    }
}
