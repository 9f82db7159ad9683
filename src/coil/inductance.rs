//! Inductance: the sum over all pairs of turns, quick formulas to check it, and what follows for PWM.

use super::iron::Iron;
use super::turn::{MU0, mutual, own};
use super::winding::Winding;
use crate::units::{Henries, Hertz, Ohms, Seconds};

/// Sum over all pairs of rings in air, H.
pub(super) fn in_air(winding: &Winding) -> f64 {
    let levels = winding.levels().len();
    let selves: f64 = winding
        .levels()
        .iter()
        .flat_map(|level| winding.radii_m().iter().map(|radius| own(*radius, level.mean_radius_m)))
        .sum();
    // Within a level each pair counts twice; so does each pair of levels, and as levels are evenly
    // spaced only their distance matters.
    let within = 2.0 * levels as f64 * pairs_apart(winding.radii_m());
    let between: f64 = (1..levels)
        .map(|apart| {
            let distance = winding.pitch_m() * apart as f64;
            2.0 * (levels - apart) as f64 * all_pairs(winding.radii_m(), distance)
        })
        .sum();
    selves + within + between
}

/// What the image in iron adds, H.
pub(super) fn from_image(winding: &Winding, iron: &Iron) -> f64 {
    let levels = winding.levels().len();
    let weight = iron.weight_at_coil(winding);
    let sum: f64 = (0..2 * levels - 1)
        .map(|both| {
            // Pairs of levels whose numbers add up to `both`.
            let count = (both + 1).min(2 * levels - 1 - both);
            let distance = -2.0 * iron.face_z_m() - winding.pitch_m() * both as f64;
            count as f64 * all_pairs(winding.radii_m(), distance)
        })
        .sum();
    weight * sum
}

/// All ordered pairs of rings on two levels.
fn all_pairs(radii_m: &[f64], distance_m: f64) -> f64 {
    let mut sum = 0.0;
    for (number, a) in radii_m.iter().enumerate() {
        let others: f64 = radii_m.iter().skip(number + 1).map(|b| mutual(*a, *b, distance_m)).sum();
        sum += mutual(*a, *a, distance_m) + 2.0 * others;
    }
    sum
}

/// Unordered pairs of different rings on one level.
fn pairs_apart(radii_m: &[f64]) -> f64 {
    radii_m
        .iter()
        .enumerate()
        .map(|(number, a)| {
            radii_m.iter().skip(number + 1).map(|b| mutual(*a, *b, 0.0)).sum::<f64>()
        })
        .sum()
}

/// Outline of a flat spiral, for the quick formulas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outline {
    /// Four sides.
    Square,
    /// Six sides.
    Hexagon,
    /// Eight sides.
    Octagon,
    /// Round.
    Circle,
}

/// One flat layer as a sheet of current: Mohan and others, IEEE J. Solid-State Circuits 34 (1999),
/// table 2 as quoted by others; octagon and circle from memory. Authors state 2 to 3 % typical error.
/// Diameters of the copper's edges.
pub fn current_sheet(outline: Outline, turns: f64, outer_m: f64, inner_m: f64) -> Henries {
    let [c1, c2, c3, c4] = match outline {
        Outline::Square => [1.27, 2.07, 0.18, 0.13],
        Outline::Hexagon => [1.09, 2.23, 0.0, 0.17],
        Outline::Octagon => [1.07, 2.29, 0.0, 0.19],
        Outline::Circle => [1.0, 2.46, 0.0, 0.20],
    };
    let fill = (outer_m - inner_m) / (outer_m + inner_m);
    let mean_m = (outer_m + inner_m) / 2.0;
    let shape = libm::log(c2 / fill) + c3 * fill + c4 * fill * fill;
    Henries(MU0 * turns * turns * mean_m * c1 / 2.0 * shape)
}

/// One flat layer, Wheeler's formula modified for polygons: same paper, table 1. It has no circle,
/// whatever tables on the web say.
pub fn modified_wheeler(
    outline: Outline,
    turns: f64,
    outer_m: f64,
    inner_m: f64,
) -> Option<Henries> {
    let (k1, k2) = match outline {
        Outline::Square => (2.34, 2.75),
        Outline::Hexagon => (2.33, 3.82),
        Outline::Octagon => (2.25, 3.55),
        Outline::Circle => return None,
    };
    let fill = (outer_m - inner_m) / (outer_m + inner_m);
    let mean_m = (outer_m + inner_m) / 2.0;
    Some(Henries(k1 * MU0 * turns * turns * mean_m / (1.0 + k2 * fill)))
}

/// A wound coil of rectangular section: Wheeler, Proc. IRE 16 (1928), within 1 % when its three terms
/// are about equal, 3 % otherwise. `mean_radius_m` to the middle of the winding.
pub fn wheeler_wound(turns: f64, mean_radius_m: f64, length_m: f64, depth_m: f64) -> Henries {
    // 0.8 uH per inch in the original.
    let scale = 0.8e-6 / 0.0254;
    let below = 6.0 * mean_radius_m + 9.0 * length_m + 10.0 * depth_m;
    Henries(scale * turns * turns * mean_radius_m * mean_radius_m / below)
}

/// Time constant of a coil.
pub fn time_constant(inductance: Henries, resistance: Ohms) -> Seconds {
    Seconds(inductance.0 / resistance.0)
}

/// From here to [`SINGS_TO_HZ`] a coil near a magnet can be heard at its PWM frequency (common
/// practice, no source).
pub const SINGS_FROM_HZ: f64 = 300.0;
/// See [`SINGS_FROM_HZ`].
pub const SINGS_TO_HZ: f64 = 18_000.0;
/// Above what anybody hears, with room for tolerance.
pub const SILENT_HZ: f64 = 22_000.0;

/// PWM frequency worth using: the current is smooth enough for 97 % of the field that the same heat
/// could give (period no longer than 1.5 L/R, derived), and nobody hears it.
pub fn recommended_pwm(time_constant: Seconds) -> Hertz {
    Hertz((1.0 / (1.5 * time_constant.0)).max(SILENT_HZ))
}

/// Whether a coil in a bias field sings at this PWM frequency.
pub fn sings(pwm: Hertz) -> bool {
    (SINGS_FROM_HZ..=SINGS_TO_HZ).contains(&pwm.0)
}
