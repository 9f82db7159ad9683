//! A coil of enamelled wire on a bobbin, turn over turn in straight rows.

use super::refusal::{GeometryError, MOST_TURNS, Size, check_diameters, fitting};
use crate::coil::harness::awg_area_mm2;
use crate::coil::winding::{Level, Winding};

/// Size of a bare wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WireSize {
    /// American Wire Gauge.
    Awg(u32),
    /// Diameter, mm.
    Metric(f64),
}

/// A wound coil as written down. Rows lie straight on each other, as wire of a machine seldom and of
/// a hand never does: reckon with 5 % more or fewer turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WoundShape {
    /// Diameter of the bobbin's core, mm: where the first layer lies.
    pub inner_mm: f64,
    /// Diameter up to which wire is wound, mm.
    pub outer_mm: f64,
    /// Between the flanges, mm.
    pub length_mm: f64,
    /// Bare wire.
    pub wire: WireSize,
    /// Thickness of the enamel on one side, um; about 20 for common grades (an estimate).
    pub enamel_um: f64,
}

/// Geometric mean distance of a round wire from itself, as a share of its radius: e^(-1/4).
const ROUND: f64 = 0.7788;

const WIRE: Size = Size {
    name: "wire diameter",
    unit: "mm",
    low: 0.02,
    high: 5.0,
    cure: "write the bare wire in mm, or its gauge",
};
const GAUGE: Size = Size {
    name: "wire gauge",
    unit: "AWG",
    low: 4.0,
    high: 50.0,
    cure: "larger numbers are thinner wires; write metric sizes in mm",
};
const ENAMEL: Size = Size {
    name: "enamel",
    unit: "um",
    low: 0.0,
    high: 200.0,
    cure: "write its thickness on one side",
};
const LENGTH: Size = Size {
    name: "winding length",
    unit: "mm",
    low: 0.1,
    high: 500.0,
    cure: "measure between the flanges",
};

impl WireSize {
    /// Diameter of the bare wire, mm.
    pub fn diameter_mm(self) -> f64 {
        match self {
            Self::Awg(gauge) => (4.0 / core::f64::consts::PI * awg_area_mm2(gauge)).sqrt(),
            Self::Metric(mm) => mm,
        }
    }

    fn check(self) -> Result<(), GeometryError> {
        match self {
            Self::Awg(gauge) => GAUGE.check(f64::from(gauge)),
            Self::Metric(mm) => WIRE.check(mm),
        }
    }
}

impl WoundShape {
    /// Wire with its enamel, mm.
    pub fn insulated_mm(&self) -> f64 {
        self.wire.diameter_mm() + 2e-3 * self.enamel_um
    }

    /// Turns along the bobbin, and layers.
    ///
    /// # Errors
    /// When the coil cannot be built as written.
    pub fn rows(&self) -> Result<(usize, usize), GeometryError> {
        check_diameters(self.inner_mm, self.outer_mm)?;
        LENGTH.check(self.length_mm)?;
        self.wire.check()?;
        ENAMEL.check(self.enamel_um)?;
        let wire_mm = self.insulated_mm();
        let depth_mm = (self.outer_mm - self.inner_mm) / 2.0;
        let (along, layers) = (fitting(self.length_mm, wire_mm), fitting(depth_mm, wire_mm));
        let short = |room_mm, place| GeometryError::NoTurn { needs_mm: wire_mm, room_mm, place };
        if along == 0 {
            return Err(short(self.length_mm, "between the flanges"));
        }
        if layers == 0 {
            return Err(short(depth_mm, "between core and outside"));
        }
        let turns = along.saturating_mul(layers);
        if turns > MOST_TURNS {
            return Err(GeometryError::TooMany { turns, most: MOST_TURNS });
        }
        Ok((along, layers))
    }

    /// Winds it: one ring per turn, the foremost ones at z = 0.
    ///
    /// # Errors
    /// When the coil cannot be built as written.
    pub fn wind(&self) -> Result<Winding, GeometryError> {
        let (along, layers) = self.rows()?;
        let wire_m = self.insulated_mm() * 1e-3;
        let radii_m =
            (0..layers).map(|layer| self.inner_mm * 5e-4 + wire_m * (layer as f64 + 0.5)).collect();
        let bare_m = self.wire.diameter_mm() * 1e-3;
        let area_m2 = core::f64::consts::PI / 4.0 * bare_m * bare_m;
        let level = Level { area_m2, mean_radius_m: ROUND * bare_m / 2.0 };
        Winding::new(radii_m, vec![level; along], wire_m).ok_or(GeometryError::NoLayer)
    }
}
