//! PWM into a coil, steady state, closed form.
//!
//! The coil is resistance R and inductance L; a switch connects it to the supply for the share D
//! of each period, a diode (or a second switch) carries the current on for the rest. Everything
//! depends on D and on x, the PWM period over L/R: small x is smooth current, large x is current
//! that follows every edge. Mean current makes the field, RMS current makes the heat.

use crate::units::{Amps, Ohms, Volts, Watts};

/// Below this x the exponentials cancel and the series is exact to rounding.
const SERIES_BELOW: f64 = 1e-3;

/// Heat of PWM as a share of the heat of full drive, for an ideal freewheel path.
///
/// `duty` 0 to 1 (saturates), `x` the PWM period over L/R, 0 to infinity. Lies between the
/// square of the duty (smooth current, x = 0) and the duty (x infinite: the safe assumption when
/// nothing is known), rises with both, and is convex in the duty. From the energy balance
/// V * supply current = R * (RMS current)^2 over one period.
pub fn heat_share(duty: f64, x: f64) -> f64 {
    let on = duty.clamp(0.0, 1.0);
    let off = 1.0 - on;
    if x == f64::INFINITY {
        return on;
    }
    if x < SERIES_BELOW {
        let ripple = on * off * x;
        return on * on + ripple * ripple / 12.0;
    }
    let fall = |span: f64| -libm::expm1(-span * x);
    on - fall(on) * fall(off) / (x * fall(1.0))
}

/// What drives one coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    /// Supply at the coil.
    pub supply: Volts,
    /// Lost in the switch while it is on.
    pub switch_drop: Volts,
    /// Lost in the freewheel path while the switch is off; 0 for a synchronous one.
    pub freewheel_drop: Volts,
    /// Winding resistance at its present temperature.
    pub resistance: Ohms,
    /// PWM period over L/R.
    pub x: f64,
}

/// Currents and heat of a coil under steady PWM.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steady {
    /// Mean coil current: the field.
    pub mean: Amps,
    /// RMS coil current.
    pub rms: Amps,
    /// Heat in the copper.
    pub heat: Watts,
    /// Mean current from the supply, which flows in the on phase only.
    pub supply: Amps,
    /// False when the current dies out before the period ends.
    pub continuous: bool,
}

impl Drive {
    /// Steady state at `duty` 0 to 1 (saturates).
    pub fn steady(&self, duty: f64) -> Steady {
        let duty = duty.clamp(0.0, 1.0);
        let towards_on = (self.supply.0 - self.switch_drop.0) / self.resistance.0;
        let drop = self.freewheel_drop.0 / self.resistance.0;
        let rise = -libm::expm1(-duty * self.x);
        let fall = -libm::expm1(-(1.0 - duty) * self.x);
        let start = start_current(towards_on, drop, rise, fall, duty, self.x);
        let mean_squares = if start >= 0.0 {
            let swing = towards_on + drop;
            let mean = duty * towards_on - (1.0 - duty) * drop;
            let squares =
                drop * drop - 2.0 * drop * swing * duty + swing * swing * heat_share(duty, self.x);
            (mean, squares)
        } else {
            died_out(towards_on, drop, rise, duty, self.x)
        };
        let (mean, squares) = mean_squares;
        let not_yet_risen = (towards_on - start.max(0.0)) * share_of(rise, duty, self.x);
        Steady {
            mean: Amps(mean),
            rms: Amps(squares.max(0.0).sqrt()),
            heat: Watts(self.resistance.0 * squares),
            supply: Amps(towards_on * duty - not_yet_risen),
            continuous: start >= 0.0,
        }
    }
}

/// `rise / x`, which tends to the duty as x goes to 0 and to 0 as x goes to infinity.
fn share_of(rise: f64, duty: f64, x: f64) -> f64 {
    if x > 0.0 { rise / x } else { duty }
}

/// Current at the start of the on phase if it never dies out; negative when it would have to.
fn start_current(on: f64, drop: f64, rise: f64, fall: f64, duty: f64, x: f64) -> f64 {
    let whole = -libm::expm1(-x);
    if whole > 0.0 {
        (on * rise * (1.0 - fall) - drop * fall) / whole
    } else {
        on * duty - drop * (1.0 - duty)
    }
}

/// Mean and mean square when the current starts each period from nothing: it rises towards `on`,
/// then falls towards `-drop` and stops at 0. Time in units of L/R.
fn died_out(on: f64, drop: f64, rise: f64, duty: f64, x: f64) -> (f64, f64) {
    if x == f64::INFINITY {
        return (on * duty, on * on * duty);
    }
    if x <= 0.0 {
        return (0.0, 0.0);
    }
    let span = duty * x;
    let peak = on * rise / drop;
    let mean = on * (span - rise) + drop * (peak - libm::log1p(peak));
    let squares = on * on * rising_square(span) + drop * drop * falling_square(peak);
    (mean / x, squares / x)
}

/// Integral of (1 - e^-s)^2 from 0 to `span`.
fn rising_square(span: f64) -> f64 {
    if span < 0.01 {
        let s = span;
        let tail = 7.0 / 60.0 - s / 24.0 + s * s * (31.0 / 2520.0);
        return s * s * s * (1.0 / 3.0 - s / 4.0 + s * s * tail);
    }
    span + 2.0 * libm::expm1(-span) - libm::expm1(-2.0 * span) / 2.0
}

/// Integral of ((1 + r) e^-s - 1)^2 until the bracket is 0: r^2/2 - r + ln(1 + r).
fn falling_square(peak: f64) -> f64 {
    let r = peak;
    if r < 0.01 {
        return r * r * r * (1.0 / 3.0 - r / 4.0 + r * r * (0.2 - r / 6.0 + r * r / 7.0));
    }
    r * r / 2.0 - r + libm::log1p(r)
}
