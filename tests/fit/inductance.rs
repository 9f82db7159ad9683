//! Inductance from supply current, against a coil stepped by brute force.

use coilscore::fit::inductance::{Bench, Errors, Inductance, InductanceError, inductance};
use coilscore::units::{Amps, Hertz, Ohms, Volts};

const ERRORS: Errors = Errors { volts_percent: 1.0, ohms_percent: 1.0, amps_percent: 1.0 };

/// Mean supply current of R and L under PWM with a diode, stepped until it repeats.
fn supply_a(volts: f64, ohm: f64, henries: f64, hz: f64, duty: f64, drop: f64) -> f64 {
    let pieces = 20_000;
    let h = 1.0 / hz / f64::from(pieces);
    let mut current = 0.0_f64;
    let periods = 60 + (12.0 * henries / ohm * hz) as u32;
    let mut sum = 0.0;
    for period in 0..periods {
        sum = 0.0;
        for piece in 0..pieces {
            let on = f64::from(piece) < duty * f64::from(pieces);
            let driving = if on { volts } else { -drop };
            let half = current + h / 2.0 * (driving - ohm * current) / henries;
            let next = current + h * (driving - ohm * half) / henries;
            let next = if on { next } else { next.max(0.0) };
            if on && period + 1 == periods {
                sum += (current + next) / 2.0;
            }
            current = next;
        }
    }
    sum / f64::from(pieces)
}

fn found(
    volts: f64,
    ohm: f64,
    hz: f64,
    amps: f64,
    drop: f64,
) -> Result<Inductance, InductanceError> {
    let bench = Bench {
        supply: Volts(volts),
        resistance: Ohms(ohm),
        pwm: Hertz(hz),
        supply_current: Amps(amps),
        duty: 0.5,
        freewheel_drop: Volts(drop),
    };
    inductance(&bench, &ERRORS)
}

#[test]
fn the_inductance_that_was_put_in_comes_out() {
    for (henries, hz) in [(880e-6, 2e3), (880e-6, 5e3), (650e-6, 20e3), (3e-3, 1e3)] {
        for drop in [0.0, 0.5] {
            let amps = supply_a(12.0, 13.4, henries, hz, 0.5, drop);
            let got = found(12.0, 13.4, hz, amps, drop).unwrap();
            let off = got.microhenries / (henries * 1e6) - 1.0;
            assert!(off.abs() < 0.005, "{henries} H at {hz} Hz, {drop} V: {got:?}");
        }
    }
}

/// The stated error is what wrong readings make of the answer, and the named frequency is better.
#[test]
fn errors_are_those_of_the_readings() {
    let (ohm, henries, hz) = (13.4, 880e-6, 5e3);
    let amps = supply_a(12.0, ohm, henries, hz, 0.5, 0.0);
    let middle = found(12.0, ohm, hz, amps, 0.0).unwrap();
    let off = |volts: f64, ohm: f64, amps: f64| {
        100.0 * (found(volts, ohm, hz, amps, 0.0).unwrap().microhenries / middle.microhenries).ln()
    };
    let parts = [off(12.06, ohm, amps), off(12.0, ohm * 1.005, amps), off(12.0, ohm, amps * 1.005)];
    let size = 2.0 * parts.iter().map(|part| part * part).sum::<f64>().sqrt();
    assert!((size / middle.error_percent - 1.0).abs() < 0.1, "{size} {middle:?}");
    assert!(!middle.is_vague());
    let fast = supply_a(12.0, ohm, henries, 60e3, 0.5, 0.0);
    let vague = found(12.0, ohm, 60e3, fast, 0.0).unwrap();
    assert!(vague.is_vague() && vague.best_error_percent < 10.0, "{vague:?}");
    assert!((1e3..2e4).contains(&vague.best_pwm_hz), "{vague:?}");
    let better = supply_a(12.0, ohm, henries, vague.best_pwm_hz, 0.5, 0.0);
    let better = found(12.0, ohm, vague.best_pwm_hz, better, 0.0).unwrap();
    let near = better.error_percent / vague.best_error_percent;
    assert!((0.9..1.1).contains(&near), "{better:?} {vague:?}");
}

#[test]
fn currents_that_no_inductance_explains_are_refused() {
    // V/R is 0.9 A: at half duty between 0.225 A and 0.45 A.
    let below = found(12.0, 13.333, 5e3, 0.22, 0.0).unwrap_err().to_string();
    assert!(
        below.contains("not more than the 0.2250 A") && below.contains("lower frequency"),
        "{below}"
    );
    let above = found(12.0, 13.333, 5e3, 0.46, 0.0).unwrap_err().to_string();
    assert!(above.contains("not less than the 0.4500 A") && above.contains("higher"), "{above}");
    for (volts, ohm, hz, amps, drop, what) in [
        (0.0, 13.0, 5e3, 0.3, 0.0, "supply voltage"),
        (12.0, -1.0, 5e3, 0.3, 0.0, "resistance"),
        (12.0, 13.0, f64::NAN, 0.3, 0.0, "PWM frequency"),
        (12.0, 13.0, 5e3, f64::INFINITY, 0.0, "supply current"),
        (12.0, 13.0, 5e3, 0.3, 9.0, "freewheel drop"),
    ] {
        let said = found(volts, ohm, hz, amps, drop).unwrap_err().to_string();
        assert!(said.contains(what) && said.contains("give"), "{said}");
    }
}
