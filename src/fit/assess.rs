//! Whether a log says enough, and if not, what is missing.

use super::fitting::{Fitted, Value};
use super::log::Log;
use super::{FitError, TwoNodes};

/// The drive has to last this many slow time constants, and three are wanted.
const DRIVEN: f64 = 1.5;
/// So much cooling is needed, and two time constants are wanted.
const COOLED: f64 = 0.5;
/// Both heat capacities this many times what was known, or less than this part of it: no guess of a
/// coil is as wrong (our choice), but seconds taken for minutes or milliseconds are.
const APART: f64 = 10.0;
/// Standard errors of use, percent.
const VAGUE_PERCENT: f64 = 10.0;

/// What shows before any fit.
pub(super) fn before(log: &Log) -> Result<(), FitError> {
    let off_s = log.on_s + log.driven_s;
    let cooling = log.readings.iter().filter(|r| r.time_s > off_s && r.ohm.is_some());
    if cooling.count() < 10 || log.cooled_s < 0.1 * log.driven_s {
        let (cooled_s, wanted_s) = (log.cooled_s, (0.67 * log.driven_s).max(60.0));
        return Err(FitError::NoCooling { cooled_s, wanted_s });
    }
    Ok(())
}

/// Nothing of the slow time constant is to be seen.
pub(super) fn no_bend(log: &Log) -> FitError {
    FitError::NoBend { driven_s: log.driven_s, wanted_s: 5.0 * log.driven_s }
}

/// What shows in the fit.
pub(super) fn after(log: &Log, fitted: &Fitted, known: Option<TwoNodes>) -> Result<(), FitError> {
    let driven_s = log.driven_s;
    let [_, slow_s] = fitted.time_constants_s;
    if slow_s > 5.0 * driven_s {
        return Err(no_bend(log));
    }
    if driven_s < DRIVEN * slow_s {
        let wanted_s = 3.0 * slow_s;
        let more_s = wanted_s - driven_s;
        return Err(FitError::TooShort {
            driven_s,
            slow_s,
            wanted_s,
            more_s,
            cooling_s: 2.0 * slow_s,
        });
    }
    if log.cooled_s < COOLED * slow_s {
        return Err(FitError::NoCooling { cooled_s: log.cooled_s, wanted_s: 2.0 * slow_s });
    }
    let all = fitted.readings + fitted.set_aside;
    if fitted.set_aside * 20 > all {
        return Err(FitError::Jumpy { aside: fitted.set_aside, all });
    }
    if fitted.residual_k > 0.05 * (fitted.highest_c - fitted.cold_c) {
        return Err(FitError::Misfit { rms_k: fitted.residual_k });
    }
    check_errors(fitted)?;
    known.map_or(Ok(()), |known| check_time(fitted, &known))
}

fn check_time(fitted: &Fitted, known: &TwoNodes) -> Result<(), FitError> {
    let [fitted, known] =
        [&fitted.network, known].map(|network| [network.coil_j_per_k, network.backing_j_per_k]);
    let times = [fitted[0] / known[0], fitted[1] / known[1]];
    if times.iter().all(|times| *times > APART) || times.iter().all(|times| *times < 1.0 / APART) {
        return Err(FitError::OtherTime { fitted, known });
    }
    Ok(())
}

fn check_errors(fitted: &Fitted) -> Result<(), FitError> {
    const EARLY: &str = "read twice a second or more for the first half minute after switching on and \
                         off, and give more power if the limits allow it";
    const LATE: &str = "drive and cool for longer, and give more power if the limits allow it";
    let figures: [(&'static str, Value, &'static str); 4] = [
        ("the winding's heat capacity", fitted.coil_j_per_k, EARLY),
        ("the way from winding to backing", fitted.coil_to_backing_k_per_w, EARLY),
        ("the backing's heat capacity", fitted.backing_j_per_k, LATE),
        ("the way from backing to surroundings", fitted.backing_to_around_k_per_w, LATE),
    ];
    for (what, value, cure) in figures {
        let percent = value.percent();
        if percent.is_nan() || percent > VAGUE_PERCENT {
            return Err(FitError::Vague { what, percent, cure });
        }
    }
    Ok(())
}
