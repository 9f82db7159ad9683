//! Places, directions, and what a field does at a place.
//!
//! Axes: x and y lie in the front of the display, y upwards; z is the axis of a coil and points to
//! the fluid. Metres and tesla throughout.

use core::ops::{Add, Mul, Sub};

/// A place or a direction: x, y, z.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Vec3 {
    /// Across the front.
    pub x: f64,
    /// Up the front.
    pub y: f64,
    /// Out of the front.
    pub z: f64,
}

impl Vec3 {
    /// Upwards.
    pub const UP: Self = Self::new(0.0, 1.0, 0.0);

    /// From its parts.
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self { x, y, z }
    }

    /// Scalar product.
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y + self.z * other.z
    }

    /// Length.
    pub fn length(self) -> f64 {
        self.dot(self).sqrt()
    }
}

impl Add for Vec3 {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y, self.z + other.z)
    }
}

impl Sub for Vec3 {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y, self.z - other.z)
    }
}

impl Mul<f64> for Vec3 {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor, self.z * factor)
    }
}

/// Field at a place, and how it changes along one direction.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Local {
    /// Field, T (or T/A).
    pub field: Vec3,
    /// Change of each component per metre along the direction, T/m (or T/m/A).
    pub slope: Vec3,
}

impl Add for Local {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { field: self.field + other.field, slope: self.slope + other.slope }
    }
}

impl Mul<f64> for Local {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self { field: self.field * factor, slope: self.slope * factor }
    }
}

/// Field of something round at a place off its axis, with all its derivatives.
///
/// By Maxwell's equations two of the four derivatives follow from the others: the curl is nothing,
/// so `bz` changes with r as `br` changes with z; the divergence is nothing, so `br` changes with r
/// as the other two say. They are kept as fields because iron with an edge bends both rules.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Meridian {
    /// Away from the axis.
    pub br: f64,
    /// Along the axis.
    pub bz: f64,
    /// `br` over r; on the axis its limit.
    pub br_over_r: f64,
    /// Change of `br` with r.
    pub br_by_r: f64,
    /// Change of `br` with z.
    pub br_by_z: f64,
    /// Change of `bz` with r.
    pub bz_by_r: f64,
    /// Change of `bz` with z.
    pub bz_by_z: f64,
}

impl Meridian {
    /// The rest from field, `br` over r and the two changes with z.
    pub fn free(br: f64, bz: f64, br_over_r: f64, br_by_z: f64, bz_by_z: f64) -> Self {
        let br_by_r = -br_over_r - bz_by_z;
        Self { br, bz, br_over_r, br_by_r, br_by_z, bz_by_r: br_by_z, bz_by_z }
    }

    /// In space: at `from_axis`, the place seen from the axis, and along a direction of length 1.
    pub fn local(&self, from_axis: Vec3, along: Vec3) -> Local {
        let radius = libm::hypot(from_axis.x, from_axis.y);
        let outwards = if radius > 0.0 {
            Vec3::new(from_axis.x / radius, from_axis.y / radius, 0.0)
        } else {
            Vec3::new(1.0, 0.0, 0.0)
        };
        let around = Vec3::new(-outwards.y, outwards.x, 0.0);
        let (by_r, by_turn, by_z) = (along.dot(outwards), along.dot(around), along.z);
        let up = Vec3::new(0.0, 0.0, 1.0);
        Local {
            field: outwards * self.br + up * self.bz,
            slope: outwards * (self.br_by_r * by_r + self.br_by_z * by_z)
                + around * (self.br_over_r * by_turn)
                + up * (self.bz_by_r * by_r + self.bz_by_z * by_z),
        }
    }
}

impl Add for Meridian {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            br: self.br + other.br,
            bz: self.bz + other.bz,
            br_over_r: self.br_over_r + other.br_over_r,
            br_by_r: self.br_by_r + other.br_by_r,
            br_by_z: self.br_by_z + other.br_by_z,
            bz_by_r: self.bz_by_r + other.bz_by_r,
            bz_by_z: self.bz_by_z + other.bz_by_z,
        }
    }
}

impl Mul<f64> for Meridian {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self {
            br: self.br * factor,
            bz: self.bz * factor,
            br_over_r: self.br_over_r * factor,
            br_by_r: self.br_by_r * factor,
            br_by_z: self.br_by_z * factor,
            bz_by_r: self.bz_by_r * factor,
            bz_by_z: self.bz_by_z * factor,
        }
    }
}
