//! Why a log says too little, each with what is missing.

use thiserror::Error;

/// Why there is no fit. Every sentence says what to do.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FitError {
    /// No header, or nothing below it.
    #[error(
        "no readings: the first line that is no comment names the columns (time_s,voltage_v,current_a), and each line below it is one reading"
    )]
    Empty,
    /// A column without its unit.
    #[error("column \"{name}\" says no unit: write {accepted}")]
    Unit {
        /// As written.
        name: String,
        /// What it may be called.
        accepted: &'static str,
    },
    /// Columns that must be there.
    #[error(
        "{missing}: a log needs time_s (or time_ms, time_min, time_h) and two of voltage_v (or voltage_mv), current_a (or current_ma) and resistance_ohm (or resistance_mohm); ambient_c and backing_c may be added"
    )]
    Columns {
        /// What is not there.
        missing: &'static str,
    },
    /// One quantity in two columns.
    #[error("columns \"{first}\" and \"{second}\" are both a {what}: keep one of them")]
    Twice {
        /// One column.
        first: String,
        /// The other.
        second: String,
        /// Quantity.
        what: &'static str,
    },
    /// Too much that is no number.
    #[error(
        "{bad} of {all} lines hold no usable numbers, the first is line {line}: a fifth at most may be missing; check separator and decimal sign, or log again"
    )]
    Unreadable {
        /// Lines that were of no use.
        bad: usize,
        /// All lines.
        all: usize,
        /// First of them, counted from 1 in the file.
        line: usize,
    },
    /// A clock that goes back.
    #[error(
        "time runs backwards in {back} of {all} lines, first in line {line}: one line in twenty at most may be out of order; log each test into a file of its own"
    )]
    Order {
        /// Lines earlier than the line before.
        back: usize,
        /// All lines.
        all: usize,
        /// First of them, counted from 1 in the file.
        line: usize,
    },
    /// Hardly any readings.
    #[error(
        "{have} readings are too few: {need} at least, twice a second for the first half minute after switching on and off, later every few seconds"
    )]
    Few {
        /// Usable readings.
        have: usize,
        /// Needed.
        need: usize,
    },
    /// A log too large to work on.
    #[error("{have} readings are more than the {most} that are taken: keep every tenth")]
    Many {
        /// Readings.
        have: usize,
        /// Accepted.
        most: usize,
    },
    /// A hole.
    #[error(
        "nothing was logged from {from_s:.0} s to {to_s:.0} s: a quarter of the test at most may be missing in one piece; log again"
    )]
    Gap {
        /// Last reading before.
        from_s: f64,
        /// First reading after.
        to_s: f64,
    },
    /// The cold temperature is not known.
    #[error(
        "how warm the coil was before the test is not known: add --cold-c with a thermometer's reading at a coil that rested for an hour, or a column ambient_c"
    )]
    NoColdTemperature,
    /// The cold resistance is not known.
    #[error(
        "the resistance of the cold coil is not in the log ({have} readings before the drive, 3 are needed): log ten seconds with a small current, a twentieth of the drive's heat at most, before switching on, or add --cold-ohm with what a meter shows"
    )]
    NoBaseline {
        /// Usable readings before the drive.
        have: usize,
    },
    /// A coil that had not rested.
    #[error(
        "the cold coil is given as {cold_c:.1} C, but the room as {around_c:.1} C: let the coil rest until both are the same, within 2 K"
    )]
    NotRested {
        /// As given.
        cold_c: f64,
        /// As logged.
        around_c: f64,
    },
    /// Power that goes up and down.
    #[error(
        "the power jumps {jumps} times: a step test is switched on once and off once, and left alone in between"
    )]
    Restless {
        /// Changes by more than a tenth.
        jumps: usize,
    },
    /// Never driven.
    #[error("the log holds no drive: no reading has any power")]
    NoDrive,
    /// Readings that no copper winding gives.
    #[error(
        "a resistance of {ohm:.4} ohm at {time_s:.0} s means {celsius:.0} C for copper that has {cold_ohm:.4} ohm at {cold_c:.1} C: check contacts, ranges and units, and that the winding is copper"
    )]
    NotCopper {
        /// As measured.
        ohm: f64,
        /// When.
        time_s: f64,
        /// What it would mean.
        celsius: f64,
        /// Cold resistance.
        cold_ohm: f64,
        /// Cold temperature.
        cold_c: f64,
    },
    /// Another coil, or a unit slipped.
    #[error(
        "the cold coil has {ohm:.4} ohm in the log, but {expected_ohm:.4} ohm by the display: half to twice is accepted; check the units in the log, the wires, and that this is the kind of coil that was tested"
    )]
    OtherCoil {
        /// In the log.
        ohm: f64,
        /// By the display.
        expected_ohm: f64,
    },
    /// A time or a power of another unit stretches both heat capacities alike.
    #[error(
        "winding and backing come out as {} and {} J/K, by the display {} and {} J/K: both more than ten times apart, as when a column of the log, its time above all, has another unit than its name says; if none has, write figures near these into the display by hand and fit again",
        short(.fitted[0]), short(.fitted[1]), short(.known[0]), short(.known[1])
    )]
    OtherTime {
        /// Heat capacities of winding and backing as fitted, J/K.
        fitted: [f64; 2],
        /// By the display, J/K.
        known: [f64; 2],
    },
    /// Not warm enough to see anything.
    #[error(
        "the winding rose by {rise_k:.1} K only, and {needed_k:.0} K at least are needed to see more than noise: give about {times:.1} times the power, and watch that nothing gets hotter than it may"
    )]
    LittleHeat {
        /// Highest rise.
        rise_k: f64,
        /// Least.
        needed_k: f64,
        /// Factor on the power for 30 K.
        times: f64,
    },
    /// The drive ended before the backing was warm.
    #[error(
        "the drive lasted {driven_s:.0} s, too short to see the backing settle (its time constant looks like {slow_s:.0} s): drive for {wanted_s:.0} s, {more_s:.0} s longer, then log {cooling_s:.0} s of cooling"
    )]
    TooShort {
        /// As logged.
        driven_s: f64,
        /// Fitted.
        slow_s: f64,
        /// Three time constants.
        wanted_s: f64,
        /// What is missing of it.
        more_s: f64,
        /// Two time constants.
        cooling_s: f64,
    },
    /// The drive ended before anything bent.
    #[error(
        "the drive lasted {driven_s:.0} s and the curve does not bend towards an end yet: go on until the winding gains less than 0.2 K in five minutes ({wanted_s:.0} s at least), then log as long again of cooling"
    )]
    NoBend {
        /// As logged.
        driven_s: f64,
        /// At least this long.
        wanted_s: f64,
    },
    /// Nothing after the drive.
    #[error(
        "the log ends {cooled_s:.0} s after the drive, without enough cooling: leave a small current on after switching off, as before the test, and log {wanted_s:.0} s of it"
    )]
    NoCooling {
        /// Logged after the drive, with a resistance.
        cooled_s: f64,
        /// Needed.
        wanted_s: f64,
    },
    /// A room that changed.
    #[error(
        "the surroundings seem to have drifted by {drift_k:+.1} K during the test: log their temperature as ambient_c, or test where it stays the same"
    )]
    Drift {
        /// Over the whole log.
        drift_k: f64,
    },
    /// A room that changed, and was logged doing so.
    #[error(
        "ambient_c goes from {low_c:.1} to {high_c:.1} C during the test: 5 K at most are followed; test out of the sun, away from heating and doors"
    )]
    Ambient {
        /// Lowest.
        low_c: f64,
        /// Highest.
        high_c: f64,
    },
    /// A result without a result.
    #[error(
        "the log leaves {what} uncertain by {percent:.0} %, and 10 % at most are of use: {cure}"
    )]
    Vague {
        /// Which figure.
        what: &'static str,
        /// Standard error.
        percent: f64,
        /// What to do.
        cure: &'static str,
    },
    /// Two stores of heat do not follow the readings.
    #[error(
        "winding and backing as two stores of heat miss the readings by {rms_k:.2} K on average, 5 % of the rise at most are of use: look for drafts, a loose coil, a bad contact, or a thermometer on the wrong part"
    )]
    Misfit {
        /// Root mean square of the residuals.
        rms_k: f64,
    },
    /// Contacts that come and go.
    #[error(
        "{aside} of {all} readings lie far off the curve, one in twenty at most may: look for a bad contact or a range that switches"
    )]
    Jumpy {
        /// Readings far off.
        aside: usize,
        /// All.
        all: usize,
    },
}

/// Three digits that count.
fn short(value: f64) -> String {
    let digits = (2.0 - libm::log10(value.abs().max(1e-9)).floor()).clamp(0.0, 9.0);
    let unit = libm::pow(10.0, digits);
    format!("{}", (value * unit).round() / unit)
}
