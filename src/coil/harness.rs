//! Wire between driver and coil, and the supply's capacitor: drops, limits, ripple.
//!
//! Everything here is for choosing parts and for the build sheet. The budget does not use it: it
//! reckons as if the whole rail voltage stood at the coil, which is never too little heat.

use super::copper::resistance_at;
use crate::units::{Amps, Celsius, Ohms, Volts};

/// Resistivity of annealed copper at 20 C, ohm mm2/m: 1/58 (IEC 60028, as quoted by others).
pub const COPPER_OHM_MM2_PER_M: f64 = 1.0 / 58.0;

/// Current that bundled thin wire in open air carries for ever, A per mm2 of copper: common
/// practice, no source. Warm rooms, closed ducts and thick bundles need more copper.
pub const WIRE_A_PER_MM2: f64 = 4.0;

/// The share of its rating that a fuse carries for ever without ageing: common practice, no
/// source.
pub const FUSE_STEADY_SHARE: f64 = 0.75;

/// Cross-section of an American Wire Gauge size, mm2: diameters run in a geometric series,
/// 0.127 mm x 92^((36 - n) / 39) (ASTM B258, as quoted by others).
pub fn awg_area_mm2(awg: u32) -> f64 {
    let diameter_mm = 0.127 * libm::pow(92.0, (36.0 - f64::from(awg)) / 39.0);
    core::f64::consts::PI / 4.0 * diameter_mm * diameter_mm
}

/// Resistance of a copper wire there and back, at a temperature. `length_m` is one way.
pub fn pair_resistance(area_mm2: f64, length_m: f64, at: Celsius) -> Ohms {
    let at_20 = Ohms(COPPER_OHM_MM2_PER_M * 2.0 * length_m / area_mm2);
    resistance_at(at_20, Celsius(20.0), at)
}

/// What a wire carries for ever, by the rule of [`WIRE_A_PER_MM2`].
pub fn wire_carries(area_mm2: f64) -> Amps {
    Amps(area_mm2 * WIRE_A_PER_MM2)
}

/// Largest ripple of a rail's capacitor, peak to peak, when coils take `pulse` together at one
/// duty, `per_s` times a second.
///
/// The supply's leads let only the mean current I D through; for the time D/f the capacitor gives
/// the rest, I (1 - D), so it loses I D (1 - D) / (f C) volts, at most I / (4 f C) at half duty
/// (derived; the capacitor's own resistance adds to it). Coil current that is smooth over the
/// period makes pulses lower than I, and less ripple.
pub fn capacitor_ripple(pulse: Amps, per_s: f64, capacitor_f: f64) -> Volts {
    Volts(pulse.0 / (4.0 * per_s * capacitor_f))
}

/// The same with the phases of `count` equal coils spread evenly over the period, all at one duty:
/// the sum then steps by one coil's current, `count` times as often, so the ripple is `count`
/// squared times less than of all together.
pub fn capacitor_ripple_spread(pulse: Amps, count: usize, per_s: f64, capacitor_f: f64) -> Volts {
    let count = count.max(1) as f64;
    capacitor_ripple(Amps(pulse.0 / count), per_s * count, capacitor_f)
}
