//! Copper: its resistance grows with temperature.
//!
//! The trade's resistance-rise method: R is proportional to K + T, with K = 234.5 C for copper.
//! IEC 60028 states the same material as 0.393 %/K at 20 C, which puts the point of no resistance
//! at -234.45 C; the two differ by 0.004 % of R at 130 C. IEC 60034-1 rounds K to 235 (from
//! memory).

use crate::units::{Celsius, Ohms};

/// Copper's K: degrees above the temperature at which its straight line reaches no resistance.
pub const COPPER_K_C: f64 = 234.5;

/// Resistance at `at` of a copper winding that has `resistance` at `reference`.
pub fn resistance_at(resistance: Ohms, reference: Celsius, at: Celsius) -> Ohms {
    Ohms(resistance.0 * (COPPER_K_C + at.0) / (COPPER_K_C + reference.0))
}

/// Temperature at which a copper winding has `measured`, when it has `resistance` at `reference`.
pub fn temperature_at(resistance: Ohms, reference: Celsius, measured: Ohms) -> Celsius {
    Celsius(measured.0 / resistance.0 * (COPPER_K_C + reference.0) - COPPER_K_C)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn temperature_is_read_back_from_resistance() {
        for at_c in [-20.0, 0.0, 20.0, 65.8333, 130.0] {
            let warm = resistance_at(Ohms(13.4), Celsius(20.0), Celsius(at_c));
            let back = temperature_at(Ohms(13.4), Celsius(20.0), warm);
            assert!((back.0 - at_c).abs() < 1e-11, "{at_c} came back as {back}");
        }
    }
}
