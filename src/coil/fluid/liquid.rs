//! Density of the clear liquid around the fluid.

use thiserror::Error;

use crate::units::Celsius;

/// What is in the tank besides the ferrofluid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Liquid {
    /// Table salt in water, percent of the mass of the solution, 0 to 26 (all that dissolves).
    SaltWater {
        /// Percent by mass.
        nacl_percent: f64,
    },
    /// Sea salt in water, practical salinity (g/kg within half a per cent), 0 to 42.
    SeaWater {
        /// Practical salinity.
        salinity: f64,
    },
    /// Anything else: weighed at 20 C.
    Known {
        /// At 20 C, kg/m3; 1.2 for air.
        kg_per_m3: f64,
        /// Share by which it expands per kelvin: water at room temperature 0.0003, glycols 0.0006
        /// (common practice, no source).
        expansion_per_k: f64,
    },
}

/// Why there is no density.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum LiquidError {
    /// More salt than dissolves, or less than none.
    #[error(
        "{percent} % salt: 0 to 26 % of the solution's mass dissolve; write grams of salt per 100 g of \
         solution"
    )]
    Salt {
        /// As written.
        percent: f64,
    },
    /// Outside the equation of state.
    #[error(
        "salinity {salinity}: the equation of sea water holds from 0 to 42; ocean water has 35"
    )]
    Salinity {
        /// As written.
        salinity: f64,
    },
    /// Not a density.
    #[error(
        "{kg_per_m3} kg/m3: write what a litre weighs in grams, 0.5 to 4000 (air 1.2, water 998)"
    )]
    Density {
        /// As written.
        kg_per_m3: f64,
    },
    /// Too cold or too hot.
    #[error("{at_c} C: densities are known from 0 to 60 C")]
    Temperature {
        /// As asked.
        at_c: f64,
    },
}

impl Liquid {
    /// Density, kg/m3, from 0 to 60 C.
    ///
    /// # Errors
    /// When the mixture or the temperature lies outside its table.
    pub fn density(&self, at: Celsius) -> Result<f64, LiquidError> {
        if !(0.0..=60.0).contains(&at.0) {
            return Err(LiquidError::Temperature { at_c: at.0 });
        }
        match *self {
            Self::SaltWater { nacl_percent } if (0.0..=26.0).contains(&nacl_percent) => {
                Ok(salt_water(nacl_percent, at.0))
            }
            Self::SaltWater { nacl_percent } => Err(LiquidError::Salt { percent: nacl_percent }),
            Self::SeaWater { salinity } if (0.0..=42.0).contains(&salinity) => {
                Ok(sea_water(salinity, at.0))
            }
            Self::SeaWater { salinity } => Err(LiquidError::Salinity { salinity }),
            Self::Known { kg_per_m3, expansion_per_k } if (0.5..=4000.0).contains(&kg_per_m3) => {
                Ok(kg_per_m3 / (1.0 + expansion_per_k * (at.0 - 20.0)))
            }
            Self::Known { kg_per_m3, .. } => Err(LiquidError::Density { kg_per_m3 }),
        }
    }
}

/// Columns of [`SALT`], C.
const SALT_C: [f64; 5] = [0.0, 10.0, 25.0, 40.0, 60.0];

/// Percent NaCl by mass; density in g/cm3 at [`SALT_C`]. International Critical Tables as printed in
/// chemical engineers' handbooks (from memory; agrees with a second table at 20 C within 0.02 %).
const SALT: [(f64, [f64; 5]); 10] = [
    (0.0, [0.99987, 0.99973, 0.99708, 0.99225, 0.98324]),
    (1.0, [1.00747, 1.00707, 1.00409, 0.99908, 0.9900]),
    (2.0, [1.01509, 1.01442, 1.01112, 1.00593, 0.9967]),
    (4.0, [1.03038, 1.02920, 1.02530, 1.01977, 1.0103]),
    (8.0, [1.06121, 1.05907, 1.05412, 1.04798, 1.0381]),
    (12.0, [1.09244, 1.08946, 1.08365, 1.07699, 1.0667]),
    (16.0, [1.12419, 1.12056, 1.11401, 1.10688, 1.0962]),
    (20.0, [1.15663, 1.15254, 1.14533, 1.13774, 1.1268]),
    (24.0, [1.18999, 1.18557, 1.17776, 1.16971, 1.1584]),
    (26.0, [1.20709, 1.20254, 1.19443, 1.18614, 1.1747]),
];

fn salt_water(percent: f64, at_c: f64) -> f64 {
    let at = |(salt, densities): (f64, [f64; 5])| {
        let mut points = [(0.0, 0.0); 5];
        for (point, pair) in points.iter_mut().zip(SALT_C.into_iter().zip(densities)) {
            *point = pair;
        }
        (salt, parabola(&points, at_c))
    };
    1000.0 * parabola(&SALT.map(at), percent)
}

/// Through the three points around `x` that lie best.
fn parabola(points: &[(f64, f64)], x: f64) -> f64 {
    let middle =
        |triple: &[(f64, f64)]| triple.get(1).map_or(f64::INFINITY, |(at, _)| (at - x).abs());
    let best = points.windows(3).min_by(|a, b| middle(a).total_cmp(&middle(b)));
    let Some(&[(x0, y0), (x1, y1), (x2, y2)]) = best else { return f64::NAN };
    let (first, second) = ((y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1));
    y0 + (x - x0) * (first + (x - x1) * (second - first) / (x2 - x0))
}

/// Polynomial from its coefficients, constant first.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// One-atmosphere equation of state of sea water, EOS-80 (UNESCO technical papers 44, 1983; from
/// memory). It holds to 40 C; to 60 C its water part stays within 0.05 % of steam tables.
fn sea_water(salinity: f64, t: f64) -> f64 {
    let water =
        [999.842_594, 6.793_952e-2, -9.095_290e-3, 1.001_685e-4, -1.120_083e-6, 6.536_332e-9];
    let linear = [0.824_493, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9];
    let root = [-5.724_66e-3, 1.0227e-4, -1.6546e-6];
    polynomial(&water, t)
        + polynomial(&linear, t) * salinity
        + polynomial(&root, t) * salinity * salinity.sqrt()
        + 4.8314e-4 * salinity * salinity
}
