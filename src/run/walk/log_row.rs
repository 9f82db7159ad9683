//! What a heating test is asked for, and what it writes down.

use super::Probe;

/// What is to be tested, and for how long.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatingTest {
    /// The coil, from 0.
    pub coil: usize,
    /// What the display file says of it.
    pub probe: Probe,
    /// Temperature of the rested coil and of the room, C, by a thermometer.
    pub cold_c: f64,
    /// Share of its full power that the coil may take for ever.
    pub floor_share: f64,
    /// Time constant of winding against backing by the display file, s.
    pub fast_s: f64,
    /// Heating, s.
    pub heat_s: f64,
    /// Cooling after it, s.
    pub cool_s: f64,
}

/// One row of the log. All rows are in order of time; two of them a thousandth of a second apart
/// stand where the duty changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRow {
    /// Since the test began, s.
    pub time_s: f64,
    /// At the winding, wire and switch taken off, V.
    pub voltage_v: f64,
    /// What makes, with the voltage, the heat in the winding, A.
    pub current_a: f64,
    /// Of the winding, where it was read, ohm.
    pub resistance_ohm: Option<f64>,
    /// Whether this belongs to the heating.
    pub heating: bool,
}

/// Where the test is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TestStage {
    /// Nothing is driven: what the board draws by itself.
    Rest,
    /// Looks at the cold winding.
    Cold,
    /// As much as the budget grants.
    Surge,
    /// Steady, with room left for looks.
    Steady,
    /// Looks alone.
    Cooling,
}
