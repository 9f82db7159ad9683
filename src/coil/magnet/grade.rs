//! Grades of magnet material: strength, how it falls with temperature, how much heat it stands.
//!
//! Ranges as sellers commonly state them: common practice, no source, unless said otherwise. The
//! number of a neodymium grade is about its energy product in MGOe, a letter behind it the class of
//! coercivity. The temperature limit is a guide: thin discs, and magnets in an opposing field,
//! weaken for good well below it.

use crate::units::Celsius;

/// A grade.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grade {
    /// As written on the data sheet.
    pub name: &'static str,
    /// Remanence at 20 C, least and most, T.
    pub remanence_t: (f64, f64),
    /// Change of remanence per kelvin, as a share.
    pub per_k: f64,
    /// Highest working temperature for blocks and thick discs, C.
    pub limit_c: f64,
}

/// Temperature coefficient of neodymium, -0.11 to -0.12 %/K (makers' tables as quoted by others);
/// the larger, as it is the one to plan for.
const NEODYMIUM_PER_K: f64 = -0.0012;

const fn neodymium(name: &'static str, low: f64, high: f64, limit_c: f64) -> Grade {
    Grade { name, remanence_t: (low, high), per_k: NEODYMIUM_PER_K, limit_c }
}

/// Known grades. Limits of the letters: none 80, M 100, H 120, SH 150 C as quoted by others; N50 and
/// N52 are often limited to 60 to 65 C.
pub const GRADES: [Grade; 18] = [
    neodymium("N30", 1.08, 1.14, 80.0),
    neodymium("N33", 1.14, 1.18, 80.0),
    neodymium("N35", 1.17, 1.22, 80.0),
    neodymium("N38", 1.22, 1.26, 80.0),
    neodymium("N40", 1.26, 1.29, 80.0),
    neodymium("N42", 1.29, 1.32, 80.0),
    neodymium("N45", 1.32, 1.37, 80.0),
    neodymium("N48", 1.37, 1.42, 80.0),
    neodymium("N50", 1.40, 1.45, 60.0),
    neodymium("N52", 1.43, 1.48, 60.0),
    neodymium("N42M", 1.28, 1.33, 100.0),
    neodymium("N45M", 1.32, 1.37, 100.0),
    neodymium("N42H", 1.28, 1.33, 120.0),
    neodymium("N45H", 1.32, 1.37, 120.0),
    neodymium("N42SH", 1.28, 1.33, 150.0),
    Grade { name: "Y30", remanence_t: (0.37, 0.40), per_k: -0.002, limit_c: 225.0 },
    Grade { name: "Y35", remanence_t: (0.40, 0.41), per_k: -0.002, limit_c: 225.0 },
    Grade { name: "SmCo26", remanence_t: (1.02, 1.05), per_k: -0.000_35, limit_c: 300.0 },
];

impl Grade {
    /// By its name, in any case.
    pub fn named(name: &str) -> Option<Self> {
        GRADES.into_iter().find(|grade| grade.name.eq_ignore_ascii_case(name.trim()))
    }

    /// Middle of the range at 20 C, T.
    pub fn middle_t(&self) -> f64 {
        f64::midpoint(self.remanence_t.0, self.remanence_t.1)
    }

    /// Remanence at a temperature, T, for a magnet that has `at_20_t` at 20 C. Reversible loss only.
    pub fn remanence_at(&self, at_20_t: f64, at: Celsius) -> f64 {
        at_20_t * (1.0 + self.per_k * (at.0 - 20.0))
    }
}
