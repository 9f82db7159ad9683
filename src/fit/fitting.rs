//! From a log to a network with errors.

#![expect(clippy::indexing_slicing, reason = "parameters and readings were counted when set up")]

use serde::Serialize;

use super::FitError;
use super::assess;
use super::least::{Solution, inverse, solve};
use super::log::{Log, median};
use super::margin::{Margin, Systematic, margin};
use super::model::{Model, OWN};
use super::network::TwoNodes;
use super::starts::starts;

/// What the log does not hold.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Settings {
    /// Heat that leaves the winding past the backing, W/K. A log of the winding alone cannot tell it
    /// from what leaves by way of the backing, so it is taken as given; 0: none.
    pub coil_to_around_w_per_k: f64,
    /// What was known before, as one place to begin.
    pub known: Option<TwoNodes>,
    /// Errors that no scatter shows.
    pub systematic: Systematic,
}

/// A figure with its standard error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Value {
    /// The figure.
    pub value: f64,
    /// Its standard error, in the same unit.
    pub error: f64,
}

impl Value {
    /// Standard error in percent of the figure.
    pub fn percent(&self) -> f64 {
        100.0 * self.error / self.value
    }
}

/// A reading of the winding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Since the first reading, s.
    pub time_s: f64,
    /// As its resistance says, C.
    pub measured_c: f64,
    /// As the network says, C.
    pub fitted_c: f64,
    /// Whether it counted.
    pub used: bool,
}

/// The network at one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Since the first reading, s.
    pub time_s: f64,
    /// Winding, C.
    pub winding_c: f64,
    /// Backing, C.
    pub backing_c: f64,
    /// Surroundings, C.
    pub around_c: f64,
    /// Measured at the backing, C, with the thermometer's offset at rest taken off.
    pub measured_backing_c: Option<f64>,
}

/// What a log says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fitted {
    /// The network.
    #[serde(skip)]
    pub network: TwoNodes,
    /// Heat capacity of winding and board, J/K.
    pub coil_j_per_k: Value,
    /// Winding to backing, K/W.
    pub coil_to_backing_k_per_w: Value,
    /// Heat capacity of the backing, J/K.
    pub backing_j_per_k: Value,
    /// Backing to its surroundings, K/W.
    pub backing_to_around_k_per_w: Value,
    /// Resistance of the cold winding, ohm.
    pub cold_ohm: Value,
    /// Its temperature, C.
    pub cold_c: f64,
    /// Covariance of the logarithms of the four heat figures, in the order above.
    pub covariance: [[f64; 4]; 4],
    /// Fast and slow time constant, s.
    pub time_constants_s: [f64; 2],
    /// Root mean square of the winding's residuals, K.
    pub residual_k: f64,
    /// How alike neighbouring residuals are, -1 to 1.
    pub correlation: f64,
    /// Factor by which likeness of neighbours widened the standard errors; 1: not at all.
    pub widened: f64,
    /// Readings of the winding that counted.
    pub readings: usize,
    /// Readings far off the curve that did not.
    pub set_aside: usize,
    /// Highest temperature of the winding, C, as fitted.
    pub highest_c: f64,
    /// Highest temperature of the backing, C, as fitted.
    pub highest_backing_c: f64,
    /// When the drive came on, s after the first reading.
    pub on_s: f64,
    /// How long the drive lasted, s.
    pub driven_s: f64,
    /// How much cooling was logged, s.
    pub cooled_s: f64,
    /// Highest power, W.
    pub power_w: f64,
    /// What the budget should leave for these errors.
    pub margin: Margin,
    /// Readings of the winding.
    #[serde(skip)]
    pub points: Vec<Point>,
    /// The network over time.
    #[serde(skip)]
    pub curve: Vec<Curve>,
}

/// Readings further off than this many times the usual are set aside.
const FAR_OFF: f64 = 6.0;

/// Finds the network that follows a log best.
///
/// # Errors
/// [`FitError`] when the log does not say enough, with what is missing.
pub fn fit(log: &Log, settings: &Settings) -> Result<Fitted, FitError> {
    assess::before(log)?;
    let direct = settings.coil_to_around_w_per_k;
    let mut model = Model::new(log, direct);
    let Some(mut best) = best_of(&model, &starts(log, direct, settings.known)) else {
        return Err(assess::no_bend(log));
    };
    // What is far off bends the first fit: set it aside, weigh the rest, and fit again.
    for _ in 0..2 {
        weigh(&mut model, &best.at, log);
        best = solve(&model, &best.at);
    }
    let set_aside = model
        .winding
        .iter()
        .zip(&log.readings)
        .filter(|(weight, reading)| **weight <= 0.0 && reading.ohm.is_some())
        .count();
    let result = summed_up(&model, &best, log, set_aside, settings)?;
    assess::after(log, &result, settings.known)?;
    if !log.ambient_logged {
        check_drift(&mut model, &best, log)?;
    }
    Ok(result)
}

/// The lowest of several runs; two that end alike are enough.
fn best_of(model: &Model<'_>, starts: &[TwoNodes]) -> Option<Solution> {
    let mut best: Option<Solution> = None;
    for start in starts {
        let next = solve(model, &model.start(start));
        let alike = best.as_ref().is_some_and(|known| (known.sum / next.sum - 1.0).abs() < 1e-6);
        if best.as_ref().is_none_or(|known| next.sum < known.sum) {
            best = Some(next);
        }
        if alike {
            break;
        }
    }
    best
}

/// Residuals of the winding, unweighted: index of the reading, K.
fn winding_residuals(model: &Model<'_>, at: &[f64], log: &Log) -> Vec<(usize, f64)> {
    let mut residuals = Vec::new();
    model.run(at, |k, moment| {
        if let Some(ohm) = log.readings[k].ohm {
            residuals.push((k, model.measured_c(at, ohm) - moment.winding_c));
        }
    });
    residuals
}

fn rms(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let count = values.clone().count().max(1) as f64;
    (values.map(|value| value * value).sum::<f64>() / count).sqrt()
}

/// Sets aside what is far off, and gives readings under the small current before and after the drive,
/// and those of the backing, the weight of their own noise where it clearly differs.
fn weigh(model: &mut Model<'_>, at: &[f64], log: &Log) {
    let residuals = winding_residuals(model, at, log);
    let usual = 1.4826 * median(residuals.iter().map(|(_, r)| r.abs()).collect());
    let far = FAR_OFF * usual.max(1e-3);
    let driven = |k: usize| log.readings[k].power_w > 0.5 * log.power_w;
    let of = |on: bool| {
        let group = residuals.iter().filter(move |(k, r)| driven(*k) == on && r.abs() <= far);
        (group.clone().count(), rms(group.map(|(_, r)| *r)))
    };
    let ((ons, on_k), (offs, off_k)) = (of(true), of(false));
    let ratio = on_k / off_k;
    let apart = ons >= 10 && offs >= 10 && !(0.67..=1.5).contains(&ratio);
    for (k, residual) in &residuals {
        let own = if apart && !driven(*k) { ratio.clamp(0.05, 20.0) } else { 1.0 };
        model.winding[*k] = if residual.abs() <= far { own } else { 0.0 };
    }
    model.noise_k = if apart {
        on_k
    } else {
        rms(residuals.iter().map(|(_, r)| *r).filter(|r| r.abs() <= far))
    };
    let mut backing = Vec::new();
    model.run(at, |k, moment| {
        if let Some(backing_c) = log.readings[k].backing_c {
            backing.push(backing_c - model.backing_off_k - moment.backing_c);
        }
    });
    let own = model.noise_k / rms(backing.iter().copied()).max(0.02);
    model.backing.iter_mut().filter(|weight| **weight > 0.0).for_each(|weight| *weight = own);
}

/// Covariance of all parameters, the likeness of neighbouring residuals, and how much that widens
/// the errors.
///
/// Residuals that are alike count as fewer. With a likeness of r from one to the next (of the first
/// order), n of them say as much as n (1 - r)/(1 + r) that are not alike.
fn spread(model: &Model<'_>, solution: &Solution, log: &Log) -> Option<(Vec<Vec<f64>>, f64, f64)> {
    let free = solution.residuals.len() as f64 - solution.at.len() as f64;
    let square_k2 = solution.sum / free.max(1.0);
    let used: Vec<f64> = winding_residuals(model, &solution.at, log)
        .into_iter()
        .filter(|(k, _)| model.winding[*k] > 0.0)
        .map(|(k, residual)| residual * model.winding[k])
        .collect();
    let neighbours: f64 = used.iter().zip(used.iter().skip(1)).map(|(a, b)| a * b).sum();
    let correlation = neighbours / used.iter().map(|r| r * r).sum::<f64>().max(1e-30);
    let alike = correlation.clamp(0.0, 0.95);
    let widened = (1.0 + alike) / (1.0 - alike);
    let mut covariance = inverse(&solution.normal)?;
    covariance.iter_mut().flatten().for_each(|value| *value *= square_k2 * widened);
    Some((covariance, correlation, widened.sqrt()))
}

fn summed_up(
    model: &Model<'_>,
    best: &Solution,
    log: &Log,
    set_aside: usize,
    settings: &Settings,
) -> Result<Fitted, FitError> {
    let Some((spread, correlation, widened)) = spread(model, best, log) else {
        return Err(assess::no_bend(log));
    };
    let network = model.network(&best.at);
    let value =
        |index: usize, value: f64| Value { value, error: value * spread[index][index].sqrt() };
    let covariance = std::array::from_fn(|a| std::array::from_fn(|b| spread[a][b]));
    let mut curve = Vec::with_capacity(log.readings.len());
    let mut points = Vec::with_capacity(log.readings.len());
    model.run(&best.at, |k, moment| {
        let reading = &log.readings[k];
        let (time_s, backing_off_k) = (reading.time_s, model.backing_off_k);
        curve.push(Curve {
            time_s,
            winding_c: moment.winding_c,
            backing_c: moment.backing_c,
            around_c: moment.around_c,
            measured_backing_c: reading.backing_c.map(|c| c - backing_off_k),
        });
        points.extend(reading.ohm.map(|ohm| Point {
            time_s,
            measured_c: model.measured_c(&best.at, ohm),
            fitted_c: moment.winding_c,
            used: model.winding[k] > 0.0,
        }));
    });
    let used = points.iter().filter(|point| point.used);
    let residual_k = rms(used.clone().map(|point| point.measured_c - point.fitted_c));
    let readings = used.count();
    let free = readings as f64 - OWN as f64;
    Ok(Fitted {
        network,
        coil_j_per_k: value(0, network.coil_j_per_k),
        coil_to_backing_k_per_w: value(1, network.coil_to_backing_k_per_w),
        backing_j_per_k: value(2, network.backing_j_per_k),
        backing_to_around_k_per_w: value(3, network.backing_to_around_k_per_w),
        cold_ohm: value(4, model.cold_ohm(&best.at)),
        cold_c: log.cold_c,
        covariance,
        time_constants_s: network.time_constants_s(),
        residual_k,
        correlation,
        widened,
        readings,
        set_aside,
        highest_c: curve.iter().map(|moment| moment.winding_c).fold(log.cold_c, f64::max),
        highest_backing_c: curve.iter().map(|moment| moment.backing_c).fold(log.cold_c, f64::max),
        on_s: log.on_s,
        driven_s: log.driven_s,
        cooled_s: log.cooled_s,
        power_w: log.power_w,
        margin: margin(&network, &covariance, free, log.cold_c, settings.systematic),
        points,
        curve,
    })
}

/// Fits once more with surroundings that drift in a straight line: a drift that stands out of its
/// own error would have gone into the heat figures.
fn check_drift(model: &mut Model<'_>, best: &Solution, log: &Log) -> Result<(), FitError> {
    model.drift = true;
    let mut start = best.at.clone();
    start.push(0.0);
    let drifting = solve(model, &start);
    let Some((spread, _, _)) = spread(model, &drifting, log) else { return Ok(()) };
    let last = drifting.at.len() - 1;
    let (drift_k, error_k) = (drifting.at[last], spread[last][last].sqrt());
    if drift_k.abs() > 1.0 && drift_k.abs() > 4.0 * error_k {
        return Err(FitError::Drift { drift_k });
    }
    Ok(())
}
