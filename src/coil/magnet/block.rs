//! A block magnet: sheets of magnetic charge on two faces.

use core::f64::consts::{FRAC_PI_2, PI};

use crate::coil::space::{Local, Vec3};

/// A block, magnetised along z. Its front face is centred in the plane z = 0, its body behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Along x, m.
    pub width_m: f64,
    /// Along y, m.
    pub height_m: f64,
    /// Along z, m.
    pub length_m: f64,
    /// Remanence, T.
    pub remanence_t: f64,
}

impl Block {
    /// Field on the axis, T, at `z_m` in front of the face.
    pub fn axis_t(&self, z_m: f64) -> f64 {
        let (a, b) = (self.width_m, self.height_m);
        let share = |s: f64| {
            let below = 2.0 * s * (4.0 * s * s + a * a + b * b).sqrt();
            if below == 0.0 { FRAC_PI_2 } else { libm::atan(a * b / below) }
        };
        self.remanence_t / PI * (share(z_m) - share(z_m + self.length_m))
    }

    /// Field at a place seen from the middle of the front face, T, and its change along a direction
    /// of length 1. Not finite on the edges. Inside the magnet it is B.
    ///
    /// Coulomb integral over both faces, a sum over the eight corners (textbook; derived).
    pub fn local(&self, from_face: Vec3, along: Vec3) -> Local {
        let mut sum = Local::default();
        for (sign_x, x) in ends(from_face.x, self.width_m) {
            for (sign_y, y) in ends(from_face.y, self.height_m) {
                let faces = [(1.0, from_face.z), (-1.0, from_face.z + self.length_m)];
                for (sign_z, z) in faces {
                    sum = sum + corner(Vec3::new(x, y, z), along) * (sign_x * sign_y * sign_z);
                }
            }
        }
        let mut all = sum * (self.remanence_t / (4.0 * PI));
        let inside = from_face.x.abs() < self.width_m / 2.0
            && from_face.y.abs() < self.height_m / 2.0
            && from_face.z < 0.0
            && from_face.z > -self.length_m;
        if inside {
            all.field.z += self.remanence_t;
        }
        all
    }
}

/// Both ends of a side of this length, seen from `at`, with the sign of the integral's limit.
fn ends(at: f64, length: f64) -> [(f64, f64); 2] {
    [(1.0, at + length / 2.0), (-1.0, at - length / 2.0)]
}

/// What one corner adds to the three sums, and their change along a direction.
fn corner(at: Vec3, along: Vec3) -> Local {
    let Vec3 { x, y, z } = at;
    let size = at.length();
    let (xz, yz) = (x * x + z * z, y * y + z * z);
    let (to_y, to_x) = (reach(size, y, xz), reach(size, x, yz));
    let field = Vec3::new(-libm::log(to_y), -libm::log(to_x), opening(x * y, z * size));
    let by_x = Vec3::new(-x / (size * to_y), -1.0 / size, y * z / (size * xz));
    let by_y = Vec3::new(-1.0 / size, -y / (size * to_x), x * z / (size * yz));
    let by_z = Vec3::new(
        -z / (size * to_y),
        -z / (size * to_x),
        -x * y * (size * size + z * z) / (size * xz * yz),
    );
    Local { field, slope: by_x * along.x + by_y * along.y + by_z * along.z }
}

/// `size + part` without loss when the part is negative; `others` are the squares of the other two.
fn reach(size: f64, part: f64, others: f64) -> f64 {
    if part < 0.0 { others / (size - part) } else { size + part }
}

/// Angle under which a quarter of the face is seen; at the face itself, from in front of it.
fn opening(up: f64, down: f64) -> f64 {
    if down != 0.0 {
        libm::atan(up / down)
    } else if up > 0.0 {
        FRAC_PI_2
    } else if up < 0.0 {
        -FRAC_PI_2
    } else {
        0.0
    }
}
