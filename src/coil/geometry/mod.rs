//! From what a maker writes down to a winding: flat spirals on boards, coils wound on bobbins, and
//! how coils are joined.

pub mod group;
pub mod refusal;
pub mod spiral;
pub mod wound;

pub use group::Group;
pub use refusal::GeometryError;
pub use spiral::SpiralShape;
pub use wound::{WireSize, WoundShape};

use super::resistance::{Band, spiral_band, wound_band};
use super::winding::Winding;

/// A coil as written down.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Flat, on a board.
    Spiral(SpiralShape),
    /// On a bobbin.
    Wound(WoundShape),
}

impl Shape {
    /// Winds it.
    ///
    /// # Errors
    /// When it cannot be built as written.
    pub fn wind(&self) -> Result<Winding, GeometryError> {
        match self {
            Self::Spiral(spiral) => spiral.wind(),
            Self::Wound(wound) => wound.wind(),
        }
    }

    /// Resistance at 20 C, and how far it may be off.
    ///
    /// # Errors
    /// When it cannot be built as written.
    pub fn resistance(&self) -> Result<Band, GeometryError> {
        match self {
            Self::Spiral(spiral) => spiral_band(spiral),
            Self::Wound(wound) => wound_band(wound),
        }
    }
}
