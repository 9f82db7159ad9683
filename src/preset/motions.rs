//! The half of a mapping that depends on places: motions, idle motion, and how it is put onto a
//! display.

use super::display::Display;
use super::mapping::{Mapping, Mirror, Moves, Path};
use crate::mapper::{self, IdleSettings, MotionSettings, Place};
use crate::units::{CoilId, Millimetres, Seconds};

/// Places as the mapping sees them. What is mapped to the left is mirrored to the right or turned
/// to the top by looking at the coils the other way round: turned back, then mirrored.
pub(super) fn seen(mapping: &Mapping, places: &[Place]) -> Vec<Place> {
    let back = -mapping.turn_deg.to_radians();
    let (sin, cos) = (without_rounding(libm::sin(back)), without_rounding(libm::cos(back)));
    let (flip_x, flip_y) = match mapping.mirror {
        Mirror::None => (1.0, 1.0),
        Mirror::X => (-1.0, 1.0),
        Mirror::Y => (1.0, -1.0),
    };
    let see = |place: &Place| {
        let (x, y) = (place.x_mm.0, place.y_mm.0);
        let (x, y) = (x * cos - y * sin, x * sin + y * cos);
        Place { x_mm: Millimetres(x * flip_x), y_mm: Millimetres(y * flip_y) }
    };
    places.iter().map(see).collect()
}

/// Quarter turns are exact.
fn without_rounding(part: f64) -> f64 {
    if part.abs() < 1e-12 { 0.0 } else { part }
}

/// The motion of a route over `coils`, at places as the mapping sees them.
pub(super) fn motion(moves: &Moves, coils: &[CoilId], places: &[Place]) -> MotionSettings {
    match *moves {
        Moves::LevelAll { .. } => MotionSettings::LevelAll,
        Moves::Column { towards_deg, edge_mm, .. } => {
            MotionSettings::Column { towards_deg, edge_mm: Millimetres(edge_mm) }
        }
        Moves::Along { towards_deg, .. } => MotionSettings::Along { towards_deg },
        Moves::Carry { path, spot_mm, fastest_mm_per_s, .. } => MotionSettings::Carry {
            path: match path {
                Path::Ring { start_deg, clockwise } => mapper::Path::Ring { start_deg, clockwise },
                Path::Axis { towards_deg } => mapper::Path::Axis { towards_deg },
            },
            spot_mm: Millimetres(spot_mm),
            fastest_mm_per_s,
        },
        Moves::Outward { from_mm, ref mm_per_s, fade_per_m, .. } => {
            let middle =
                || Place::middle(coils.iter().filter_map(|c| places.get(c.index())).copied());
            let point = |[x, y]: [f64; 2]| Place { x_mm: Millimetres(x), y_mm: Millimetres(y) };
            MotionSettings::Outward {
                from: from_mm.map_or_else(middle, point),
                speed_mm_per_s: mm_per_s.value,
                fade_per_m,
            }
        }
    }
}

/// Seconds that a front takes to the farthest coil; 0 for other motions.
pub(super) fn longest_s(motion: &MotionSettings, coils: &[CoilId], places: &[Place]) -> f64 {
    let MotionSettings::Outward { from, speed_mm_per_s, .. } = *motion else { return 0.0 };
    let distance =
        |at: &Place| libm::hypot(at.x_mm.0 - from.x_mm.0, at.y_mm.0 - from.y_mm.0) / speed_mm_per_s;
    coils.iter().filter_map(|coil| places.get(coil.index())).map(distance).fold(0.0, f64::max)
}

pub(super) fn idle(mapping: &Mapping, coils: Vec<CoilId>) -> IdleSettings {
    let Some(idle) = &mapping.idle else { return IdleSettings::NONE };
    IdleSettings { level: idle.level, period_s: Seconds(idle.period_s), wander: idle.wander, coils }
}

/// Every coil's trim, in display order.
pub(super) fn trims(display: &Display) -> Vec<f64> {
    display.blocks.iter().flat_map(|block| block.trims.iter().copied()).collect()
}
