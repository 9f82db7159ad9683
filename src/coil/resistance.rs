//! Resistance from geometry, and how little one should trust it.
//!
//! Boards come with other copper than ordered: inner layers are etched and roughened thinner, outer
//! ones are plated thicker, and every trace is etched narrower or wider. The resistance of a board
//! coil is therefore known within a few tens of per cent until somebody measures it.

use super::geometry::{GeometryError, SpiralShape, WoundShape};
use super::harness::COPPER_OHM_MM2_PER_M;
use super::winding::Winding;
use crate::units::Ohms;

/// Density of copper, kg/m3 (IEC 60028; from memory).
pub const COPPER_KG_PER_M3: f64 = 8890.0;

/// Resistance at 20 C, ohm: what is likely, and what it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Everything that may be off lowers it.
    pub low: Ohms,
    /// From the sizes as written.
    pub nominal: Ohms,
    /// Everything that may be off raises it.
    pub high: Ohms,
}

/// Beyond this spread a measurement is worth more than the drawing.
const TRUSTED_SPREAD: f64 = 0.10;

impl Band {
    /// From lowest to highest, as a share of nominal.
    pub fn spread(&self) -> f64 {
        (self.high.0 - self.low.0) / self.nominal.0
    }

    /// Whether the resistance should be measured before anything relies on it.
    pub fn wants_measurement(&self) -> bool {
        self.spread() > TRUSTED_SPREAD
    }

    /// What to do, in a sentence; nothing when the figure can be relied on.
    pub fn advice(&self) -> Option<String> {
        let percent = |ohms: Ohms| (ohms.0 / self.nominal.0 - 1.0) * 100.0;
        self.wants_measurement().then(|| {
            format!(
                "the resistance may be {:.0} to {:+.0} % off: measure it with four leads at a known \
                 temperature before a budget relies on it",
                percent(self.low),
                percent(self.high)
            )
        })
    }
}

/// Resistance at 20 C of a winding without its leads.
pub fn at_20_c(winding: &Winding) -> Ohms {
    let per_area: f64 = winding.levels().iter().map(|level| 1.0 / (level.area_m2 * 1e6)).sum();
    Ohms(COPPER_OHM_MM2_PER_M * winding.level_length_m() * per_area)
}

/// Mass of the copper, g.
pub fn copper_g(winding: &Winding) -> f64 {
    winding.copper_m3() * COPPER_KG_PER_M3 * 1e3
}

/// Conductivity of commercial copper, share of the standard: 97 to 101 % (IACS pages).
const CONDUCTS: (f64, f64) = (0.97, 1.01);

/// Inner layers: foil as ordered and least finished copper, um (IPC-6012 as quoted by board makers).
const INNER_LEAST: [(f64, f64); 3] = [(17.1, 11.4), (34.3, 24.9), (68.6, 55.7)];

/// Outer layers against what was written as finished: 0.95 (least finished copper of IPC-6012 class 2
/// over its nominal, as quoted) to 1.3 (thick plating; common practice, no source).
const OUTER: (f64, f64) = (0.95, 1.3);

/// Trace edges: 25 um in all (common practice, no source), at most a fifth of the width (IPC-6012,
/// from memory).
const ETCH_MM: f64 = 0.025;
const ETCH_SHARE: f64 = 0.2;

/// Resistance of a spiral and what a board house may make of it.
///
/// # Errors
/// When the spiral cannot be built as written.
pub fn spiral_band(shape: &SpiralShape) -> Result<Band, GeometryError> {
    let winding = shape.wind()?;
    let length_m = winding.level_length_m();
    let last = shape.copper_um.len() - 1;
    let etch = (ETCH_MM / shape.trace_mm).min(ETCH_SHARE);
    let (mut least, mut most) = (0.0, 0.0);
    for (layer, copper_um) in shape.copper_um.iter().enumerate() {
        let (thin, thick) =
            if layer == 0 || layer == last { OUTER } else { (inner_least(*copper_um), 1.05) };
        let one = COPPER_OHM_MM2_PER_M * length_m / (shape.trace_mm * copper_um * 1e-3);
        least += one / (thick * (1.0 + etch) * CONDUCTS.1);
        most += one / (thin * (1.0 - etch) * CONDUCTS.0);
    }
    Ok(Band { low: Ohms(least), nominal: at_20_c(&winding), high: Ohms(most) })
}

/// Least share of an inner layer's copper that may be left.
fn inner_least(copper_um: f64) -> f64 {
    let [(mut below, mut left), rest @ ..] = INNER_LEAST;
    if copper_um <= below {
        return left / below;
    }
    for (above, left_above) in rest {
        if copper_um <= above {
            let share = (copper_um - below) / (above - below);
            return (left + share * (left_above - left)) / copper_um;
        }
        (below, left) = (above, left_above);
    }
    left / below
}

/// Wire: diameter within 1.5 % (winding wire standards, from memory), length within 5 % as rows never
/// lie straight (common practice, no source).
const WIRE_AREA: (f64, f64) = (0.97, 1.03);
const WIRE_LENGTH: (f64, f64) = (0.95, 1.05);

/// Resistance of a wound coil and what wire and hands may make of it.
///
/// # Errors
/// When the coil cannot be built as written.
pub fn wound_band(shape: &WoundShape) -> Result<Band, GeometryError> {
    let nominal = at_20_c(&shape.wind()?);
    let low = nominal.0 * WIRE_LENGTH.0 / (WIRE_AREA.1 * CONDUCTS.1);
    let high = nominal.0 * WIRE_LENGTH.1 / (WIRE_AREA.0 * CONDUCTS.0);
    Ok(Band { low: Ohms(low), nominal, high: Ohms(high) })
}
