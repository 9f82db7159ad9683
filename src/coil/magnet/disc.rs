//! A disc magnet: a sheet of current around its rim.

use core::f64::consts::PI;

use crate::coil::elliptic::{Complete, general};
use crate::coil::space::{Local, Meridian, Vec3};
use crate::coil::turn::{MU0, field_per_amp};

/// A disc, magnetised along its axis. Its front face is the plane z = 0, its body behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disc {
    /// Radius, m.
    pub radius_m: f64,
    /// Thickness, m.
    pub length_m: f64,
    /// Remanence, T.
    pub remanence_t: f64,
}

impl Disc {
    /// Field on the axis, T, at `z_m` in front of the face.
    pub fn axis_t(&self, z_m: f64) -> f64 {
        let share = |z: f64| z / libm::hypot(self.radius_m, z);
        self.remanence_t / 2.0 * (share(z_m + self.length_m) - share(z_m))
    }

    /// Field at `r_m` from the axis and `z_m` in front of the face, T; inside the magnet too. Not
    /// finite on the two edges.
    ///
    /// Closed form of the sheet in the general elliptic integral (Derby and Olbert, Am. J. Phys. 78,
    /// 2010; from memory). The changes along z are those of two single turns at the faces.
    pub fn field(&self, r_m: f64, z_m: f64) -> Meridian {
        let (back, front) = (self.end(r_m, z_m + self.length_m), self.end(r_m, z_m));
        let strength = self.remanence_t / PI;
        let br_over_r = strength * (front.br_over_r - back.br_over_r);
        let bz = strength * (back.bz - front.bz);
        let sheet_a_per_m = self.remanence_t / MU0;
        let turns = field_per_amp(self.radius_m, r_m, z_m + self.length_m)
            + field_per_amp(self.radius_m, r_m, z_m) * -1.0;
        let (br_by_z, bz_by_z) = (turns.br * sheet_a_per_m, turns.bz * sheet_a_per_m);
        Meridian::free(br_over_r * r_m, bz, br_over_r, br_by_z, bz_by_z)
    }

    /// What one end of the sheet, `z` below the point, gives.
    fn end(&self, r: f64, z: f64) -> End {
        let a = self.radius_m;
        let far = (a + r) * (a + r) + z * z;
        let near = (a - r) * (a - r) + z * z;
        let slant = far.sqrt();
        let integrals = Complete::new(4.0 * a * r / far, near / far);
        let sideways = (a - r) / (a + r);
        let through = if sideways == 0.0 {
            integrals.k
        } else {
            general((near / far).sqrt(), sideways * sideways, 1.0, sideways)
        };
        End {
            br_over_r: a * 4.0 * a * integrals.c / (far * slant),
            bz: a / (a + r) * z / slant * through,
        }
    }

    /// In space, seen from the middle of the face.
    pub fn local(&self, from_face: Vec3, along: Vec3) -> Local {
        let r_m = libm::hypot(from_face.x, from_face.y);
        self.field(r_m, from_face.z).local(from_face, along)
    }
}

struct End {
    br_over_r: f64,
    bz: f64,
}
