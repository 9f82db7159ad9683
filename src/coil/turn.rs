//! One circular turn: its field and its inductance with another on the same axis.

use core::f64::consts::PI;

use super::elliptic::Complete;
use super::space::Meridian;

/// Magnetic constant, H/m: CODATA 2022.
pub const MU0: f64 = 1.256_637_061_27e-6;

/// Field per ampere of a thin turn of this radius around the origin of the axis, at `r_m` (0 or
/// more) from the axis and `z_m` along it. T/A. Not finite on the wire itself.
///
/// The classic K and E formulas (Smythe, Static and Dynamic Electricity; from memory), rearranged so
/// that nothing cancels on the axis or far away: with Q and P the squares of the longest and the
/// shortest way to the turn,
///
/// ```text
/// Bz = mu0 I a^2 / (pi sqrt(Q) P) (E - 4 r^2/Q J)      Br = 4 mu0 I a^2 r z J / (pi Q^1.5 P)
/// ```
pub fn field_per_amp(radius_m: f64, r_m: f64, z_m: f64) -> Meridian {
    let (a, r, z) = (radius_m, r_m, z_m);
    let far = (a + r) * (a + r) + z * z;
    let near = (a - r) * (a - r) + z * z;
    let m = 4.0 * a * r / far;
    let integrals = Complete::new(m, near / far);
    let Complete { e, d, j, j_slope, .. } = integrals;
    let size = MU0 / PI * a * a / (far.sqrt() * near);
    let aside = r * r / far;
    let inner = e - 4.0 * aside * j;
    let br_over_r = size * 4.0 * z * j / far;
    // How m, r^2/Q and the size change with z.
    let m_by_z = -m * 2.0 * z / far;
    let size_share = z / far + 2.0 * z / near;
    let inner_by_z =
        m_by_z * (-d / 2.0 - 4.0 * aside * j_slope) + 4.0 * aside * (2.0 * z / far) * j;
    let bz_by_z = size * (inner_by_z - inner * size_share);
    let br_by_z =
        size * 4.0 * r / far * (j + z * j_slope * m_by_z - z * j * (size_share + 2.0 * z / far));
    Meridian::free(br_over_r * r, size * inner, br_over_r, br_by_z, bz_by_z)
}

/// Mutual inductance of two turns on one axis, H: Maxwell's formula in K and E, written with the
/// integral C so that it keeps its digits for turns far apart.
pub fn mutual(a_m: f64, b_m: f64, distance_m: f64) -> f64 {
    let far = (a_m + b_m) * (a_m + b_m) + distance_m * distance_m;
    let near = (a_m - b_m) * (a_m - b_m) + distance_m * distance_m;
    let m = 4.0 * a_m * b_m / far;
    let both = a_m * b_m;
    8.0 * MU0 * both * both * Complete::new(m, near / far).c / (far * far.sqrt())
}

/// Inductance of one turn with itself, H. `mean_radius_m` is the geometric mean distance of the
/// conductor's section from itself (handbooks write GMR): 0.7788 of the radius of a round wire,
/// 0.2235 of width plus thickness of a flat trace (Grover; from memory).
pub fn own(radius_m: f64, mean_radius_m: f64) -> f64 {
    MU0 * radius_m * (libm::log(8.0 * radius_m / mean_radius_m) - 2.0)
}

/// Field on the axis per ampere-turn of a flat ring of copper from `inner_m` to `outer_m`, spread
/// evenly, at `z_m` in front of it. T/A.
pub fn annulus_axis_per_amp(inner_m: f64, outer_m: f64, z_m: f64) -> f64 {
    let whole = |r: f64| libm::asinh(r / z_m.abs()) - r / libm::hypot(r, z_m);
    MU0 / (2.0 * (outer_m - inner_m)) * (whole(outer_m) - whole(inner_m))
}
