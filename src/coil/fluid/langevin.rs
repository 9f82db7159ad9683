//! The Langevin function: how particles that a field turns and heat shakes add up.

/// Below this argument the differences are taken from power series, whose next term is below 1e-12 of the sum.
const SERIES_BELOW: f64 = 0.1;

/// coth(a) - 1/a: 0 at 0, towards 1.
pub fn langevin(a: f64) -> f64 {
    if a.abs() < SERIES_BELOW {
        let s = a * a;
        return a
            * (1.0 / 3.0
                - s * (1.0 / 45.0 - s * (2.0 / 945.0 - s * (1.0 / 4725.0 - s * 2.0 / 93_555.0))));
    }
    1.0 / libm::tanh(a) - 1.0 / a
}

/// Derivative of [`langevin`]: 1/3 at 0.
pub fn langevin_slope(a: f64) -> f64 {
    if a.abs() < SERIES_BELOW {
        let s = a * a;
        return 1.0 / 3.0
            - s * (1.0 / 15.0 - s * (2.0 / 189.0 - s * (1.0 / 675.0 - s * 2.0 / 10_395.0)));
    }
    // The square overflows from 355 on, and the quotient is then nothing, as it should be.
    let sinh = libm::sinh(a);
    1.0 / (a * a) - 1.0 / (sinh * sinh)
}

/// ln(sinh(a) / a), the integral of [`langevin`] from 0.
pub fn log_sinh_over(a: f64) -> f64 {
    let a = a.abs();
    if a < SERIES_BELOW {
        let s = a * a;
        return s * (1.0 / 6.0 - s * (1.0 / 180.0 - s * (1.0 / 2835.0 - s / 37_800.0)));
    }
    a - libm::log(2.0 * a) + libm::log1p(-libm::exp(-2.0 * a))
}
