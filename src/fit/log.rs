//! A table as readings: power, resistance, surroundings over time, cold coil first.

#![expect(clippy::indexing_slicing, reason = "indices of readings that were just counted")]

use super::FitError;
use super::table::{Row, Table};

/// One moment of the test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Since the first reading, s.
    pub time_s: f64,
    /// Heat in the winding, W.
    pub power_w: f64,
    /// Resistance of the winding, where it could be measured.
    pub ohm: Option<f64>,
    /// Temperature around the coil, C.
    pub around_c: f64,
    /// Temperature at the backing, where it was logged, C.
    pub backing_c: Option<f64>,
    /// Whether the coil is heated; `None`: its power tells.
    pub heating: Option<bool>,
}

/// What the maker knows of the cold coil.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cold {
    /// Its temperature, C; left out: the surroundings before the drive.
    pub celsius: Option<f64>,
    /// Its resistance, ohm; left out: the readings before the drive.
    pub ohm: Option<f64>,
}

/// A test, put in order and checked for what any fit needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Log {
    /// In order of time.
    pub readings: Vec<Reading>,
    /// Intervals, by the index of their first reading, in which the power jumps.
    pub jumps: Vec<usize>,
    /// Temperature of the cold coil, C.
    pub cold_c: f64,
    /// Its resistance as first seen, ohm.
    pub cold_ohm: f64,
    /// Highest power, W.
    pub power_w: f64,
    /// From the first reading with the drive on to the last, s.
    pub driven_s: f64,
    /// From there to the last reading with a resistance, s.
    pub cooled_s: f64,
    /// When the drive came on, s.
    pub on_s: f64,
    /// Whether the surroundings were logged.
    pub ambient_logged: bool,
    /// Lines that were of no use, counted from 1 in the file.
    pub unusable: Vec<usize>,
}

/// A change of the power by this share of the highest is a switch, not a drift.
const JUMP: f64 = 0.1;
/// Above this share of the highest power the drive is on.
const ON: f64 = 0.5;
/// The moment of a switch between readings closer than this is known well enough, s.
const TIGHT_S: f64 = 0.05;
/// A drive before the drive heats: more than this share of the highest power is no baseline.
const BASELINE: f64 = 0.05;
/// Below this share of the largest current a resistance is noise.
const LEAST_CURRENT: f64 = 0.01;
/// Readings needed at least.
const FEWEST: usize = 25;
/// Readings taken at most.
pub(super) const MOST: usize = 50_000;
/// Switches at most: some tests go on, off, on and off again.
const MOST_JUMPS: usize = 8;
/// Rise needed at least, K.
const LEAST_RISE_K: f64 = 8.0;

impl Log {
    /// Puts a table in order. `expected_ohm`: by the display, at the temperature of the cold coil,
    /// as a function of that temperature.
    ///
    /// # Errors
    /// [`FitError`] with what is missing.
    pub fn new(
        table: &Table,
        cold: Cold,
        expected_ohm: impl Fn(f64) -> Option<f64>,
    ) -> Result<Self, FitError> {
        let all = table.rows.len();
        let (mut kept, unusable) = usable(table)?;
        if kept.len() < FEWEST {
            return Err(FitError::Few { have: kept.len(), need: FEWEST });
        }
        if kept.len() > MOST {
            return Err(FitError::Many { have: kept.len(), most: MOST });
        }
        in_order(&mut kept, all)?;
        let power_w = kept.iter().map(|(_, r)| r.power_w).fold(0.0, f64::max);
        let on = |r: &Reading| r.heating.unwrap_or(r.power_w > ON * power_w);
        let first = kept.iter().position(|(_, r)| on(r));
        let Some(first) = first.filter(|_| power_w > 0.0) else { return Err(FitError::NoDrive) };
        let ambient_logged = kept.iter().any(|(row, _)| row.ambient_c.is_some());
        let cold_c = cold_c(&mut kept, cold.celsius, first)?;
        let mut readings: Vec<Reading> = kept.into_iter().map(|(_, reading)| reading).collect();
        let begin_s = readings[0].time_s;
        readings.iter_mut().for_each(|reading| reading.time_s -= begin_s);
        check_gaps(&readings)?;
        let told = |r: &&Reading| r.heating.is_some() || r.power_w < BASELINE * power_w;
        let before = readings[..first].iter().filter(told);
        let ohms: Vec<f64> = before.filter_map(|reading| reading.ohm).collect();
        let cold_ohm = match cold.ohm {
            Some(ohm) => {
                // A reading like the others: it counts as one of them.
                let around_c = readings[0].around_c;
                let first = Reading {
                    time_s: 0.0,
                    power_w: 0.0,
                    ohm: Some(ohm),
                    around_c,
                    backing_c: None,
                    heating: readings[0].heating,
                };
                readings.insert(0, first);
                let sum: f64 = ohms.iter().sum::<f64>() + ohm;
                sum / (ohms.len() as f64 + 1.0)
            }
            None if ohms.len() < 3 => return Err(FitError::NoBaseline { have: ohms.len() }),
            None => median(ohms),
        };
        if let Some(expected_ohm) = expected_ohm(cold_c)
            && !(0.5..=2.0).contains(&(cold_ohm / expected_ohm))
        {
            return Err(FitError::OtherCoil { ohm: cold_ohm, expected_ohm });
        }
        let on_s = readings.iter().find(|r| on(r)).map_or(0.0, |r| r.time_s);
        let off_s = readings.iter().rev().find(|r| on(r)).map_or(0.0, |r| r.time_s);
        let end_s = readings.iter().rev().find(|r| r.ohm.is_some()).map_or(0.0, |r| r.time_s);
        let jump = |pair: &[Reading]| {
            (pair[1].power_w - pair[0].power_w).abs() > JUMP * power_w
                && pair[1].time_s - pair[0].time_s > TIGHT_S
        };
        let pairs = readings.windows(2).enumerate();
        let jumps: Vec<usize> = pairs.filter(|(_, pair)| jump(pair)).map(|(k, _)| k).collect();
        if jumps.len() > MOST_JUMPS {
            return Err(FitError::Restless { jumps: jumps.len() });
        }
        let log = Self {
            readings,
            jumps,
            cold_c,
            cold_ohm,
            power_w,
            driven_s: off_s - on_s,
            cooled_s: (end_s - off_s).max(0.0),
            on_s,
            ambient_logged,
            unusable,
        };
        log.check_heat()?;
        Ok(log)
    }

    /// Temperature that a resistance means, C.
    pub fn celsius(&self, ohm: f64) -> f64 {
        use crate::coil::copper::temperature_at;
        use crate::units::{Celsius, Ohms};
        temperature_at(Ohms(self.cold_ohm), Celsius(self.cold_c), Ohms(ohm)).0
    }

    fn check_heat(&self) -> Result<(), FitError> {
        let seen = self.readings.iter().filter_map(|r| Some((r.time_s, r.ohm?)));
        let mut rises: Vec<f64> = Vec::new();
        let mut odd = Vec::new();
        for (time_s, ohm) in seen {
            let celsius = self.celsius(ohm);
            if !(self.cold_c - 15.0..=220.0).contains(&celsius) {
                odd.push((time_s, ohm, celsius));
            }
            rises.push(celsius - self.cold_c);
        }
        // A contact may fail now and then; what fails is set aside later.
        if odd.len() * 20 > rises.len()
            && let Some(&(time_s, ohm, celsius)) = odd.first()
        {
            let (cold_ohm, cold_c) = (self.cold_ohm, self.cold_c);
            return Err(FitError::NotCopper { ohm, time_s, celsius, cold_ohm, cold_c });
        }
        rises.sort_by(f64::total_cmp);
        let rise_k = rises.get(rises.len() * 98 / 100).copied().unwrap_or(0.0);
        if rise_k < LEAST_RISE_K {
            let times = (30.0 / rise_k.max(0.5)).min(60.0);
            return Err(FitError::LittleHeat { rise_k, needed_k: LEAST_RISE_K, times });
        }
        Ok(())
    }
}

type Usable = (Vec<(Row, Reading)>, Vec<usize>);

/// Lines that hold a time and a power, and the numbers of those that do not.
fn usable(table: &Table) -> Result<Usable, FitError> {
    let most = table.rows.iter().filter_map(|row| row.amps).fold(0.0, |m: f64, a| m.max(a.abs()));
    // Where resistances stand in a column of their own, voltage and current tell power alone.
    let apart = table.rows.iter().any(|row| row.ohms.is_some());
    let most = if apart { f64::INFINITY } else { most };
    let mut bad = Vec::new();
    let mut kept = Vec::new();
    for row in &table.rows {
        match reading(row, most) {
            Some(reading) => kept.push((*row, reading)),
            None => bad.push(row.line),
        }
    }
    match bad.first() {
        Some(&line) if bad.len() * 5 > table.rows.len() => {
            Err(FitError::Unreadable { bad: bad.len(), all: table.rows.len(), line })
        }
        _ => Ok((kept, bad)),
    }
}

fn reading(row: &Row, most_amps: f64) -> Option<Reading> {
    let power_w = match (row.volts, row.amps, row.ohms) {
        (Some(volts), Some(amps), _) => volts * amps,
        (Some(volts), None, Some(ohms)) if ohms > 0.0 => volts * volts / ohms,
        (None, Some(amps), Some(ohms)) if ohms > 0.0 => amps * amps * ohms,
        _ => return None,
    };
    let measured = match (row.volts, row.amps) {
        (Some(volts), Some(amps)) if amps.abs() > LEAST_CURRENT * most_amps => Some(volts / amps),
        _ => None,
    };
    Some(Reading {
        time_s: row.time_s?,
        power_w: power_w.abs(),
        ohm: row.ohms.or(measured).filter(|ohm| *ohm > 0.0),
        around_c: f64::NAN,
        backing_c: row.backing_c,
        heating: row.heating.map(|flag| flag > 0.5),
    })
}

fn in_order(kept: &mut [(Row, Reading)], all: usize) -> Result<(), FitError> {
    let mut latest = f64::NEG_INFINITY;
    let mut back = Vec::new();
    for (row, reading) in kept.iter() {
        if reading.time_s < latest {
            back.push(row.line);
        }
        latest = latest.max(reading.time_s);
    }
    if let Some(&line) = back.first()
        && back.len() * 20 > kept.len()
    {
        return Err(FitError::Order { back: back.len(), all, line });
    }
    kept.sort_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s));
    Ok(())
}

/// Fills in the surroundings and returns the temperature of the cold coil.
fn cold_c(
    kept: &mut [(Row, Reading)],
    given: Option<f64>,
    first_on: usize,
) -> Result<f64, FitError> {
    let logged: Vec<f64> = kept.iter().filter_map(|(row, _)| row.ambient_c).collect();
    let Some(&earliest) = logged.first() else {
        let Some(given) = given else { return Err(FitError::NoColdTemperature) };
        kept.iter_mut().for_each(|(_, reading)| reading.around_c = given);
        return Ok(given);
    };
    let low_c = logged.iter().copied().fold(f64::INFINITY, f64::min);
    let high_c = logged.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if high_c - low_c > 5.0 {
        return Err(FitError::Ambient { low_c, high_c });
    }
    let mut now = earliest;
    for (row, reading) in kept.iter_mut() {
        now = row.ambient_c.unwrap_or(now);
        reading.around_c = now;
    }
    let rest: Vec<f64> = kept[..=first_on].iter().map(|(_, r)| r.around_c).collect();
    let around_c = median(rest);
    match given {
        Some(cold_c) if (cold_c - around_c).abs() > 2.0 => {
            Err(FitError::NotRested { cold_c, around_c })
        }
        // The thermometer at the coil counts; the other is followed as far as it moves.
        Some(cold_c) => {
            kept.iter_mut().for_each(|(_, reading)| reading.around_c += cold_c - around_c);
            Ok(cold_c)
        }
        None => Ok(around_c),
    }
}

fn check_gaps(readings: &[Reading]) -> Result<(), FitError> {
    let length_s = readings[readings.len() - 1].time_s;
    for pair in readings.windows(2) {
        let (from_s, to_s) = (pair[0].time_s, pair[1].time_s);
        if to_s - from_s > (length_s / 4.0).max(30.0) {
            return Err(FitError::Gap { from_s, to_s });
        }
    }
    Ok(())
}

/// The middle of some values; NaN of none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let (half, odd) = (values.len() / 2, values.len() % 2 == 1);
    match values.as_slice() {
        [] => f64::NAN,
        sorted if odd => sorted[half],
        sorted => (sorted[half - 1] + sorted[half]) / 2.0,
    }
}
