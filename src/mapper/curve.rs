//! How 0..1 bends on its way to 0..1. Every curve keeps 0 and 1 and never falls.

use super::error::{RouteFault, within};
use super::settings::Curve;

/// Powers that still leave something to see.
const POWER_LIMITS: (f64, f64) = (0.1, 10.0);

impl Curve {
    pub(super) fn check(self) -> Result<Self, RouteFault> {
        if let Self::Power(power) = self {
            within("power", power, POWER_LIMITS, "")?;
        }
        Ok(self)
    }

    /// Bends a value of 0 to 1.
    pub(super) fn bend(self, x: f64) -> f64 {
        match self {
            Self::Straight => x,
            Self::Power(power) => libm::pow(x, power).clamp(0.0, 1.0),
            Self::Soft => x * x * (3.0 - 2.0 * x),
        }
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "the values are exact")]
mod tests {
    use super::*;

    #[test]
    fn curves_pass_through_values_by_hand() {
        for (curve, x, y) in [
            (Curve::Straight, 0.3, 0.3),
            (Curve::Power(2.0), 0.5, 0.25),
            (Curve::Power(0.5), 0.25, 0.5),
            (Curve::Power(3.0), 0.5, 0.125),
            (Curve::Power(10.0), 0.5, 0.0009765625),
            (Curve::Soft, 0.25, 0.15625),
            (Curve::Soft, 0.5, 0.5),
            (Curve::Soft, 0.75, 0.84375),
        ] {
            assert_eq!(curve.bend(x), y, "{curve:?} at {x}");
        }
    }

    #[test]
    fn curves_keep_their_ends_and_never_fall() {
        for curve in [Curve::Straight, Curve::Power(0.1), Curve::Power(10.0), Curve::Soft] {
            assert_eq!(curve.bend(0.0), 0.0, "{curve:?}");
            assert_eq!(curve.bend(1.0), 1.0, "{curve:?}");
            let mut before = 0.0;
            for step in 0..=1000 {
                let now = curve.bend(f64::from(step) / 1000.0);
                assert!(now >= before && now <= 1.0, "{curve:?} at {step}");
                before = now;
            }
        }
    }

    #[test]
    fn powers_outside_their_range_are_refused() {
        for power in [0.0, 0.09, 10.1, -1.0, f64::NAN, f64::INFINITY] {
            assert!(Curve::Power(power).check().is_err(), "{power}");
        }
        assert!(Curve::Power(0.1).check().is_ok() && Curve::Power(10.0).check().is_ok());
    }
}
