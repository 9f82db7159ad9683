//! Inductance from the supply current under PWM.
//!
//! With an ideal freewheel path the supply current at duty D is h(D, x) V/R, and h lies between D^2
//! (current smoothed by much inductance) and D (current that follows every edge): see
//! [`crate::coil::pwm::heat_share`]. So one reading of a supply's ammeter tells x, the PWM period
//! over L/R, and with it L. Near either end hardly anything of the current depends on L; then the
//! error is large, and another frequency is named.

use serde::Serialize;
use thiserror::Error;

use crate::coil::pwm::Drive;
use crate::units::{Amps, Hertz, Ohms, Volts};

/// What was set and read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench {
    /// Supply at the driver.
    pub supply: Volts,
    /// Winding resistance, as warm as it was.
    pub resistance: Ohms,
    /// PWM frequency.
    pub pwm: Hertz,
    /// Mean supply current of this coil, quiescent current taken off.
    pub supply_current: Amps,
    /// Duty, 0 to 1; a half tells most.
    pub duty: f64,
    /// Drop of the freewheel path; 0 for a synchronous one.
    pub freewheel_drop: Volts,
}

/// Errors of the readings, percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errors {
    /// Voltage.
    pub volts_percent: f64,
    /// Resistance.
    pub ohms_percent: f64,
    /// Supply current.
    pub amps_percent: f64,
}

/// What came out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Inductance {
    /// L, uH.
    pub microhenries: f64,
    /// Its error from the readings' errors, percent; each taken as independent.
    pub error_percent: f64,
    /// PWM period over L/R.
    pub period_over_tau: f64,
    /// The frequency at which the same readings would tell most, Hz.
    pub best_pwm_hz: f64,
    /// Its error there, percent.
    pub best_error_percent: f64,
}

impl Inductance {
    /// Too uncertain to be relied on.
    pub fn is_vague(&self) -> bool {
        self.error_percent > 20.0
    }
}

/// Why there is no inductance.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum InductanceError {
    /// A number that cannot be.
    #[error("{what} is {value}: {cure}")]
    Value {
        /// Which, with its unit.
        what: &'static str,
        /// As given.
        value: f64,
        /// What to do.
        cure: &'static str,
    },
    /// No more than any inductance would let through.
    #[error(
        "{amps} A is not more than the {least:.4} A that even endless inductance draws at this duty: check the readings, the freewheel drop and that the duty is what you think, or the PWM is too fast to tell: use a lower frequency"
    )]
    Below {
        /// As read.
        amps: f64,
        /// For x = 0.
        least: f64,
    },
    /// No less than a pure resistance takes.
    #[error(
        "{amps} A is not less than the {most:.4} A that no inductance at all draws at this duty: check the readings and take off what the driver itself draws, or the PWM is too slow to tell: use a higher frequency"
    )]
    Above {
        /// As read.
        amps: f64,
        /// For endless x.
        most: f64,
    },
}

/// The range of x in which anything is looked for.
const X_RANGE: (f64, f64) = (1e-3, 1e5);

/// Finds L.
///
/// # Errors
/// [`InductanceError`] for numbers that cannot be or that no inductance explains.
pub fn inductance(bench: &Bench, errors: &Errors) -> Result<Inductance, InductanceError> {
    check(bench)?;
    let amps = bench.supply_current.0;
    let (least, most) = (current(bench, X_RANGE.0), current(bench, X_RANGE.1));
    let x = match find_x(bench) {
        Some(x) => x,
        None if amps <= least => return Err(InductanceError::Below { amps, least }),
        None => return Err(InductanceError::Above { amps, most }),
    };
    let henries = bench.resistance.0 / (x * bench.pwm.0);
    let error_percent = error_of(bench, errors, x);
    let (mut best, mut best_x) = (error_percent, x);
    for step in 0..160 {
        let other = 0.1 * libm::pow(10.0, f64::from(step) / 40.0);
        let error = error_of(bench, errors, other);
        if error < best {
            (best, best_x) = (error, other);
        }
    }
    Ok(Inductance {
        microhenries: henries * 1e6,
        error_percent,
        period_over_tau: x,
        best_pwm_hz: bench.resistance.0 / (best_x * henries),
        best_error_percent: best,
    })
}

fn check(bench: &Bench) -> Result<(), InductanceError> {
    let positive = "give more than 0";
    let tell = |ok: bool, what, value, cure| {
        if ok { Ok(()) } else { Err(InductanceError::Value { what, value, cure }) }
    };
    let above_0 = |value: f64| value.is_finite() && value > 0.0;
    tell(above_0(bench.supply.0), "the supply voltage (V)", bench.supply.0, positive)?;
    tell(above_0(bench.resistance.0), "the resistance (ohm)", bench.resistance.0, positive)?;
    tell(above_0(bench.pwm.0), "the PWM frequency (Hz)", bench.pwm.0, positive)?;
    let amps = bench.supply_current.0;
    tell(above_0(amps), "the supply current (A)", amps, positive)?;
    let within = (0.05..=0.95).contains(&bench.duty);
    tell(within, "the duty", bench.duty, "give 0.05 to 0.95; a half (0.5) tells most")?;
    let drop = bench.freewheel_drop.0;
    tell((0.0..=3.0).contains(&drop), "the freewheel drop (V)", drop, "give 0 to 3 V")
}

/// Supply current if the PWM period were `x` times L/R.
fn current(bench: &Bench, x: f64) -> f64 {
    let drive = Drive {
        supply: bench.supply,
        switch_drop: Volts(0.0),
        freewheel_drop: bench.freewheel_drop,
        resistance: bench.resistance,
        x,
    };
    drive.steady(bench.duty).supply.0
}

/// The x that explains the current, by halving; the current rises with x.
fn find_x(bench: &Bench) -> Option<f64> {
    let (mut low, mut high) = (libm::log(X_RANGE.0), libm::log(X_RANGE.1));
    let over = |ln_x: f64| current(bench, libm::exp(ln_x)) - bench.supply_current.0;
    if over(low) >= 0.0 || over(high) <= 0.0 {
        return None;
    }
    for _ in 0..80 {
        let middle = (low + high) / 2.0;
        if over(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some(libm::exp((low + high) / 2.0))
}

/// Error of L in percent at an x: slopes of ln L = ln R - ln x - ln f by ln of each reading.
fn error_of(bench: &Bench, errors: &Errors, x: f64) -> f64 {
    let step = 1e-4;
    let ln = |bench: &Bench, x: f64| libm::log(current(bench, x));
    let by_x = (ln(bench, x * (1.0 + step)) - ln(bench, x * (1.0 - step))) / (2.0 * step);
    let scaled = |volts: f64, ohms: f64| Bench {
        supply: Volts(bench.supply.0 * volts),
        resistance: Ohms(bench.resistance.0 * ohms),
        ..*bench
    };
    let by_volts =
        (ln(&scaled(1.0 + step, 1.0), x) - ln(&scaled(1.0 - step, 1.0), x)) / (2.0 * step);
    let by_ohms =
        (ln(&scaled(1.0, 1.0 + step), x) - ln(&scaled(1.0, 1.0 - step), x)) / (2.0 * step);
    // Current read = current(x, V, R): a reading's error moves x by its own slope over that of x.
    let parts = [
        errors.amps_percent / by_x,
        errors.volts_percent * by_volts / by_x,
        errors.ohms_percent * (1.0 + by_ohms / by_x),
    ];
    let error = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
    if error.is_finite() { error } else { f64::INFINITY }
}
