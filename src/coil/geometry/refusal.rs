//! What cannot be built, and what to write instead.

use thiserror::Error;

/// Why there is no such coil.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum GeometryError {
    /// A size that nobody makes.
    #[error("{name} is {value} {unit}, but {low} to {high} {unit} is what can be made: {cure}")]
    Range {
        /// Which size.
        name: &'static str,
        /// As written.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Least accepted.
        low: f64,
        /// Most accepted.
        high: f64,
        /// What to check.
        cure: &'static str,
    },
    /// Nothing between inside and outside.
    #[error(
        "inner diameter {inner_mm} mm is not below outer diameter {outer_mm} mm: correct one of them"
    )]
    InsideOut {
        /// As written.
        inner_mm: f64,
        /// As written.
        outer_mm: f64,
    },
    /// Not even one turn.
    #[error(
        "no turn fits: one needs {needs_mm:.3} mm, but there is {room_mm:.3} mm {place}: make the coil \
         larger or the conductor narrower"
    )]
    NoTurn {
        /// What a turn takes.
        needs_mm: f64,
        /// What there is.
        room_mm: f64,
        /// Where.
        place: &'static str,
    },
    /// A board without copper.
    #[error("no copper layer is given: name at least one thickness, front to back")]
    NoLayer,
    /// A board thinner than its copper.
    #[error(
        "layers of {copper_um} um copper cannot lie {pitch_mm} mm apart, middle to middle: write the \
         distance from one layer to the next, copper included"
    )]
    LayersTouch {
        /// The thickest two, half of each.
        copper_um: f64,
        /// As written.
        pitch_mm: f64,
    },
    /// More than is worth reckoning.
    #[error("{turns} turns are more than {most}: check units and wire size")]
    TooMany {
        /// What would fit.
        turns: usize,
        /// What is accepted.
        most: usize,
    },
}

/// Most turns of a coil; no driver of this size moves more through one.
pub const MOST_TURNS: usize = 20_000;

/// A size with its limits.
pub(super) struct Size {
    pub(super) name: &'static str,
    pub(super) unit: &'static str,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) cure: &'static str,
}

impl Size {
    /// Accepts a value within the limits, both included; NaN is not.
    pub(super) fn check(&self, value: f64) -> Result<(), GeometryError> {
        if (self.low..=self.high).contains(&value) {
            return Ok(());
        }
        let Self { name, unit, low, high, cure } = *self;
        Err(GeometryError::Range { name, value, unit, low, high, cure })
    }
}

/// Diameters, in order and within limits.
pub(super) fn check_diameters(inner_mm: f64, outer_mm: f64) -> Result<(), GeometryError> {
    INNER.check(inner_mm)?;
    OUTER.check(outer_mm)?;
    if inner_mm < outer_mm { Ok(()) } else { Err(GeometryError::InsideOut { inner_mm, outer_mm }) }
}

const INNER: Size = Size {
    name: "inner diameter",
    unit: "mm",
    low: 0.1,
    high: 500.0,
    cure: "measure the free space in the middle of the winding",
};
const OUTER: Size = Size {
    name: "outer diameter",
    unit: "mm",
    low: 1.0,
    high: 500.0,
    cure: "measure across the whole winding",
};

/// Whole pieces of this size that fit into a room; a hair's breadth more counts as fitting.
#[expect(clippy::cast_possible_truncation, reason = "rounding down is the purpose")]
#[expect(clippy::cast_sign_loss, reason = "room and size are positive and checked")]
pub(super) fn fitting(room: f64, size: f64) -> usize {
    (room / size + 1e-9).floor().max(0.0) as usize
}
