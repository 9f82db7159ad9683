//! Complete elliptic integrals, by the arithmetic-geometric mean.
//!
//! Everything about circular turns hangs on them. The textbook formulas subtract K from E and lose
//! all digits near the axis and far away; the combinations below are what those formulas really
//! need, each summed from positive terms. Notation: m is the parameter (the square of the modulus
//! k), and
//!
//! ```text
//! K = B + D      D = (K - E) / m      C = (D - B) / m
//! E = B + (1 - m) D                   J = D - C
//! ```
//!
//! Definitions and AGM: DLMF chapter 19; B, D and C are the associate integrals of the literature
//! (from memory). Accurate to about 1e-15 relative.

use core::f64::consts::FRAC_PI_2;

/// Below this parameter a difference is taken from the sums, above it from the integrals.
const SMALL: f64 = 0.3;

/// The integrals at one parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Complete {
    /// First kind.
    pub k: f64,
    /// Second kind.
    pub e: f64,
    /// (K - E) / m.
    pub d: f64,
    /// (D - B) / m, where B = K - D.
    pub c: f64,
    /// D - C.
    pub j: f64,
    /// Derivative of J by m.
    pub j_slope: f64,
}

impl Complete {
    /// At parameter `m`, 0 to 1, with `rest` = 1 - m. Both are asked for because whoever has them
    /// as quotients of lengths has both exactly, and near m = 1 the rest is what counts.
    ///
    /// `rest` of 0 or less gives K infinite and the others without meaning.
    pub fn new(m: f64, rest: f64) -> Self {
        let mean = Mean::new(m, rest);
        let k = FRAC_PI_2 / mean.limit;
        let half = m * mean.squares;
        let (b, d, c) = (k * (0.5 - half), k * (0.5 + half), 2.0 * k * mean.squares);
        let j = if m < 0.5 { d - c } else { (b - rest * d) / m };
        let j_slope = if m < SMALL {
            let c_slope = (k * (mean.head + mean.squares) + 3.0 * c) / (2.0 * rest);
            j / (2.0 * rest) - c_slope
        } else {
            (3.0 * c - j) / (2.0 * m)
        };
        Self { k, e: b + rest * d, d, c, j, j_slope }
    }
}

/// The arithmetic-geometric mean of 1 and the complementary modulus, with the sums over its steps.
///
/// The half differences c_n of the steps obey c_(n+1) = c_n^2 / (4 a_(n+1)), so neither they nor
/// their quotients by m and m^2 are ever found by subtracting.
struct Mean {
    limit: f64,
    /// Sum of 2^(n-1) (c_n / m)^2 from n = 1.
    squares: f64,
    /// (1/2 - 8 * squares) / m, which is wanted where both are nearly equal.
    head: f64,
}

impl Mean {
    fn new(m: f64, rest: f64) -> Self {
        let (mut a, mut g) = step(1.0, rest.sqrt());
        let (mut c, mut by_m) = (m / (4.0 * a), 1.0 / (4.0 * a));
        let mut squares = by_m * by_m;
        let mut head = -by_m * (1.0 + a) / (2.0 * a * a);
        let mut weight = 1.0;
        // From parameters next to 1 it takes some ten steps, otherwise five.
        for _ in 0..40 {
            if c <= 1e-9 * a {
                break;
            }
            (a, g) = step(a, g);
            weight *= 2.0;
            let by_m_squared = by_m * by_m / (4.0 * a);
            (c, by_m) = (c * c / (4.0 * a), c * by_m / (4.0 * a));
            squares += weight * by_m * by_m;
            head -= 8.0 * weight * by_m * by_m_squared;
        }
        Self { limit: if rest > 0.0 { a } else { 0.0 }, squares, head }
    }
}

fn step(a: f64, g: f64) -> (f64, f64) {
    ((a + g) / 2.0, (a * g).sqrt())
}

/// The general complete integral
///
/// ```text
/// integral of (a cos^2 + b sin^2) / ((cos^2 + p sin^2) sqrt(cos^2 + k^2 sin^2)), 0 to pi/2
/// ```
///
/// for `p` above 0, by Bulirsch's iteration (Numerische Mathematik 13, 1969; from memory). `k` is the
/// complementary modulus, above 0.
pub fn general(k: f64, p: f64, a: f64, b: f64) -> f64 {
    let (mut p, mut a) = (p.sqrt(), a);
    let mut b = b / p;
    let (mut product, mut k, mut sum) = (k, k, 1.0);
    for _ in 0..40 {
        let last_a = a;
        a += b / p;
        let share = product / p;
        b = 2.0 * (b + last_a * share);
        p += share;
        let last_sum = sum;
        sum += k;
        if (last_sum - k).abs() <= last_sum * 1e-9 {
            break;
        }
        k = 2.0 * product.sqrt();
        product = k * sum;
    }
    FRAC_PI_2 * (b + a * sum) / (sum * (sum + p))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64, within: f64) {
        assert!((a - b).abs() <= within * b.abs(), "{a} for {b}");
    }

    /// mpmath 1.4.1 with 40 digits: m, K, E.
    const COMPUTED: [(f64, f64, f64); 5] = [
        (0.0, FRAC_PI_2, FRAC_PI_2),
        (0.1, 1.612_441_348_720_219_2, 1.530_757_636_897_763_2),
        (0.5, 1.854_074_677_301_371_9, 1.350_643_881_047_675_5),
        (0.9, 2.578_092_113_348_173_2, 1.104_774_732_704_073_3),
        (0.99, 3.695_637_362_989_874_7, 1.015_993_545_025_224),
    ];

    #[test]
    fn first_and_second_kind_match_computed_values() {
        for (m, k, e) in COMPUTED {
            let all = Complete::new(m, 1.0 - m);
            near(all.k, k, 5e-15);
            near(all.e, e, 5e-15);
        }
    }

    #[test]
    fn the_relation_of_legendre_holds_at_every_parameter() {
        for n in 1..200 {
            let m = f64::from(n) / 200.0;
            let (one, other) = (Complete::new(m, 1.0 - m), Complete::new(1.0 - m, m));
            let sum = one.e * other.k + other.e * one.k - one.k * other.k;
            near(sum, FRAC_PI_2, 1e-14);
        }
    }

    #[test]
    fn differences_keep_their_digits_where_the_textbook_loses_them() {
        for m in [1e-12, 1e-6, 1e-3] {
            let all = Complete::new(m, 1.0 - m);
            // First terms of the power series in m.
            let quarter = FRAC_PI_2 / 8.0;
            near(all.d, FRAC_PI_2 / 2.0 * (1.0 + m * 3.0 / 8.0 + m * m * 15.0 / 64.0), 1e-9);
            near(all.c, quarter * (1.0 + m * 3.0 / 4.0), m * m + 1e-14);
            near(all.j_slope, quarter * 0.75, 3.0 * m + 1e-13);
        }
    }

    #[test]
    fn both_ways_to_the_slope_agree_where_they_meet() {
        let (below, above) = (SMALL - 1e-9, SMALL + 1e-9);
        let (low, high) = (Complete::new(below, 1.0 - below), Complete::new(above, 1.0 - above));
        near(low.j_slope, high.j_slope, 2e-8);
        for m in [0.02, 0.2, 0.4, 0.7, 0.95] {
            let h = 1e-5;
            let j = |m: f64| Complete::new(m, 1.0 - m).j;
            let slope = (j(m + h) - j(m - h)) / (2.0 * h);
            near(Complete::new(m, 1.0 - m).j_slope, slope, 1e-6);
        }
    }

    #[test]
    fn the_general_integral_contains_the_others() {
        for m in [0.01, 0.3, 0.8, 0.999] {
            let all = Complete::new(m, 1.0 - m);
            let k = (1.0 - m).sqrt();
            near(general(k, 1.0, 1.0, 1.0), all.k, 1e-14);
            near(general(k, 1.0, 1.0, 1.0 - m), all.e, 1e-14);
            near(general(k, 1.0, 0.0, 1.0), all.d, 1e-14);
        }
    }
}
