//! A flat spiral on one or more layers of a board, as rings on one axis.

use super::refusal::{GeometryError, MOST_TURNS, Size, check_diameters, fitting};
use crate::coil::winding::{Level, Winding};

/// A spiral as written on a drawing. Layers follow each other in series and turn the same way.
#[derive(Debug, Clone, PartialEq)]
pub struct SpiralShape {
    /// Across the free middle: edge of the innermost copper, mm.
    pub inner_mm: f64,
    /// Across the whole: edge of the outermost copper, mm.
    pub outer_mm: f64,
    /// Width of the trace, mm.
    pub trace_mm: f64,
    /// Between traces, mm.
    pub space_mm: f64,
    /// Finished thickness of each copper layer, um, front to back. One ounce of copper per square
    /// foot is 34.3 um (IPC-4562 nominal, from memory).
    pub copper_um: Vec<f64>,
    /// From one layer to the next, middle to middle, mm; of no meaning for one layer.
    pub layer_pitch_mm: f64,
}

const TRACE: Size = Size {
    name: "trace width",
    unit: "mm",
    low: 0.05,
    high: 50.0,
    cure: "ask the board maker for the narrowest trace in this copper",
};
const SPACE: Size = Size {
    name: "space between traces",
    unit: "mm",
    low: 0.05,
    high: 50.0,
    cure: "ask the board maker for the narrowest gap in this copper",
};
const COPPER: Size = Size {
    name: "copper thickness",
    unit: "um",
    low: 5.0,
    high: 500.0,
    cure: "write micrometres: 1 oz is about 35",
};
const PITCH: Size = Size {
    name: "layer pitch",
    unit: "mm",
    low: 0.02,
    high: 10.0,
    cure: "write the distance from one copper layer to the next",
};
const LAYERS: Size = Size {
    name: "number of layers",
    unit: "layers",
    low: 1.0,
    high: 64.0,
    cure: "name each layer once",
};

/// Geometric mean distance of a flat trace from itself, as a share of width plus thickness (Grover;
/// from memory).
const FLAT: f64 = 0.2235;

impl SpiralShape {
    /// Turns on each layer.
    ///
    /// # Errors
    /// When the spiral cannot be built as written.
    pub fn turns_per_layer(&self) -> Result<usize, GeometryError> {
        self.check()?;
        let room_mm = (self.outer_mm - self.inner_mm) / 2.0;
        let turns = fitting(room_mm + self.space_mm, self.trace_mm + self.space_mm);
        if turns == 0 {
            let place = "between inside and outside";
            return Err(GeometryError::NoTurn { needs_mm: self.trace_mm, room_mm, place });
        }
        Ok(turns)
    }

    /// Winds it: the same rings on every layer, from the inside, the front copper at z = 0.
    ///
    /// # Errors
    /// When the spiral cannot be built as written.
    pub fn wind(&self) -> Result<Winding, GeometryError> {
        let turns = self.turns_per_layer()?;
        let all = turns.saturating_mul(self.copper_um.len());
        if all > MOST_TURNS {
            return Err(GeometryError::TooMany { turns: all, most: MOST_TURNS });
        }
        let first_mm = self.inner_mm / 2.0 + self.trace_mm / 2.0;
        let step_mm = self.trace_mm + self.space_mm;
        let radii_m = (0..turns).map(|turn| (first_mm + step_mm * turn as f64) * 1e-3).collect();
        let level = |copper_um: &f64| {
            let (width_m, thick_m) = (self.trace_mm * 1e-3, copper_um * 1e-6);
            Level { area_m2: width_m * thick_m, mean_radius_m: FLAT * (width_m + thick_m) }
        };
        let levels = self.copper_um.iter().map(level).collect();
        Winding::new(radii_m, levels, self.layer_pitch_mm * 1e-3).ok_or(GeometryError::NoLayer)
    }

    fn check(&self) -> Result<(), GeometryError> {
        check_diameters(self.inner_mm, self.outer_mm)?;
        TRACE.check(self.trace_mm)?;
        SPACE.check(self.space_mm)?;
        if self.copper_um.is_empty() {
            return Err(GeometryError::NoLayer);
        }
        LAYERS.check(self.copper_um.len() as f64)?;
        self.copper_um.iter().try_for_each(|copper_um| COPPER.check(*copper_um))?;
        if self.copper_um.len() == 1 {
            return Ok(());
        }
        PITCH.check(self.layer_pitch_mm)?;
        let thickest = self.copper_um.iter().copied().fold(0.0, f64::max);
        if thickest * 1e-3 >= self.layer_pitch_mm {
            let pitch_mm = self.layer_pitch_mm;
            return Err(GeometryError::LayersTouch { copper_um: thickest, pitch_mm });
        }
        Ok(())
    }
}
