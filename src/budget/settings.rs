//! What [`Budget`](super::Budget) must know, in units, without names or options.

use serde::Serialize;

use super::drive::Pull;
use crate::units::{
    Amps, Celsius, CoilId, JoulesPerKelvin, KelvinPerWatt, Ohms, Rate, Seconds, Volts,
    WattsPerKelvin,
};

/// Which ways a driver can push.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Polarity {
    /// One way: negative wishes become off and are counted as cut by the driver.
    #[serde(rename = "one_way")]
    Unipolar,
    /// A bridge that sets direction and size apart (sign-magnitude): both ways, no heat at rest.
    SignMagnitude,
}

/// What one coil and its backing do with heat. Infinite resistance: no such path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilHeat {
    /// Heat capacity of winding and board.
    pub coil: JoulesPerKelvin,
    /// Heat capacity of the iron behind it.
    pub backing: JoulesPerKelvin,
    /// Winding to backing.
    pub coil_to_backing: KelvinPerWatt,
    /// Backing to its surroundings (the enclosure where there is one, else the room).
    pub backing_to_around: KelvinPerWatt,
    /// Winding straight to the surroundings.
    pub coil_to_around: KelvinPerWatt,
    /// Highest temperature of the winding.
    pub coil_limit: Celsius,
    /// Highest temperature of the backing (magnet, glue and tank decide it).
    pub backing_limit: Celsius,
}

/// One coil as the budget sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilBudget {
    /// Index of its supply rail.
    pub rail: usize,
    /// Who is served first when a rail is short: lower numbers.
    pub priority: u8,
    /// Winding resistance.
    pub resistance: Ohms,
    /// Temperature at which the resistance holds.
    pub reference: Celsius,
    /// PWM period over the coil's L/R with the winding at its limit (the safe side, as R is highest
    /// there): small is smooth current; infinite (the safe assumption) when the inductance or the
    /// PWM frequency is not known.
    pub period_over_tau: f64,
    /// Heat paths and limits.
    pub heat: CoilHeat,
    /// The share by which every allowed rise is reduced (0.25 = divided by 1.25).
    pub margin: f64,
    /// Factor on modelled heat, at least 1, for what is not measured.
    pub power_scale: f64,
    /// Driver.
    pub polarity: Polarity,
    /// Compare value of the driver at full duty, 1 to 65535 (1 to 32767 for bridges).
    pub steps: u16,
    /// Shortest pulse of the driver as a share of its period: smaller duties become off. 0 to 1; 0
    /// where every step can be made.
    pub least_duty: f64,
    /// How long a bridge stays off before it pushes the other way; 0: not at all.
    pub turn_rest: Seconds,
    /// What a wish asks of it.
    pub pull: Pull,
}

/// Two coils that warm each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbours {
    /// One coil.
    pub a: CoilId,
    /// The other.
    pub b: CoilId,
    /// Winding to winding.
    pub coils: WattsPerKelvin,
    /// Backing to backing.
    pub backings: WattsPerKelvin,
}

/// The air, case or liquid around all coils.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enclosure {
    /// Its heat capacity.
    pub heat: JoulesPerKelvin,
    /// To the room.
    pub to_room: KelvinPerWatt,
    /// Highest temperature, where it matters (a tank, a closed case).
    pub limit: Option<Celsius>,
}

/// One supply.
#[derive(Debug, Clone, PartialEq)]
pub struct Rail {
    /// As the maker calls it.
    pub name: String,
    /// Voltage at the coils.
    pub volts: Volts,
    /// Mean current it may give to the coils.
    pub limit: Amps,
    /// Time from the first frame on over which its current is let in, in a straight line from
    /// nothing to the limit, or to what all its coils take if that is less; 0: at once.
    pub ramp: Seconds,
    /// Fastest rise of its mean current, A/s. A fall is free. Infinite: any.
    pub slew_a_per_s: f64,
}

/// How warm everything is at the first frame.
#[derive(Debug, Clone, PartialEq)]
pub enum Start {
    /// All at room temperature.
    Cold,
    /// Backings and enclosure at their allowed bounds, each winding as warm as its backing.
    Warm,
    /// Nothing is known, so everything counts as hot as it may ever be: only continuous power is
    /// granted at first.
    Unknown,
    /// Node temperatures: coils, then backings, then the enclosure where there is one.
    Nodes(Vec<Celsius>),
}

/// Everything [`Budget`](super::Budget) must know, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetSettings {
    /// Frames per second.
    pub frame_rate: Rate,
    /// How long the driver keeps the last frame when no more come.
    pub hold_s: Seconds,
    /// How softly power is taken back near the limit: the look-ahead of the limiter is at least
    /// this long.
    pub knee_s: Seconds,
    /// How far ahead slow gains look that keep the limiter from flattening what is loudest; 0: there
    /// are none.
    pub ride: Seconds,
    /// Room temperature.
    pub room: Celsius,
    /// Coils in display order.
    pub coils: Vec<CoilBudget>,
    /// Pairs that touch, each pair once.
    pub neighbours: Vec<Neighbours>,
    /// What lies between the backings and the room.
    pub enclosure: Option<Enclosure>,
    /// Supplies.
    pub rails: Vec<Rail>,
    /// Heat at the start.
    pub start: Start,
}

impl BudgetSettings {
    /// The same display for wishes that are shares of full duty, whatever is known of its pull.
    #[must_use]
    pub fn straight(&self) -> Self {
        let mut straight = self.clone();
        straight.coils.iter_mut().for_each(|coil| coil.pull = Pull::Straight);
        straight
    }
}
