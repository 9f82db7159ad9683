//! A coil on one sheet: what its geometry comes to, at the fluid and for its heat.

use super::copper::resistance_at;
use super::geometry::{GeometryError, Group, Shape};
use super::inductance::{recommended_pwm, time_constant};
use super::iron::Iron;
use super::pwm::heat_share;
use super::resistance::{Band, copper_g};
use super::space::Meridian;
use crate::units::{Amps, Celsius, Henries, Hertz, KelvinPerWatt, Ohms, Seconds, Volts, Watts};

/// Where and how the coil works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use {
    /// Iron behind it.
    pub iron: Option<Iron>,
    /// From the axis to the fluid, m.
    pub r_m: f64,
    /// From the front copper to the fluid, m.
    pub z_m: f64,
    /// Coils like it in one load.
    pub group: Group,
    /// Supply across the load.
    pub supply: Volts,
    /// PWM frequency; left out: the recommended one.
    pub pwm: Option<Hertz>,
    /// From winding to room, per coil.
    pub to_room: KelvinPerWatt,
    /// Room.
    pub room: Celsius,
    /// Highest temperature of the winding.
    pub limit: Celsius,
}

/// What can go on for ever, per coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Continuous {
    /// From winding to room, as was said.
    pub to_room: KelvinPerWatt,
    /// Heat.
    pub heat: Watts,
    /// Direct current that makes it in the warm winding.
    pub current: Amps,
    /// Voltage across the coil that drives it.
    pub voltage: Volts,
    /// Duty that makes the same heat from the supply, 0 to 1.
    pub duty: f64,
    /// Mean current at that duty: what makes the field.
    pub mean: Amps,
}

/// The sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Turns.
    pub turns: usize,
    /// Length of the conductor, m.
    pub length_m: f64,
    /// Mass of the copper, g.
    pub copper_g: f64,
    /// Resistance of one coil at 20 C.
    pub resistance: Band,
    /// Inductance of one coil in air: the safe one for heat.
    pub air: Henries,
    /// Inductance in front of the iron, at low frequency; that of air without iron.
    pub with_iron: Henries,
    /// L/R in air at 20 C.
    pub time_constant: Seconds,
    /// PWM frequency worth using, for the warm winding in air.
    pub pwm: Hertz,
    /// The group as the driver sees it at 20 C.
    pub load: (Ohms, Henries),
    /// Field per ampere at the fluid, T/A, with its changes.
    pub at_fluid: Meridian,
    /// The same in front of the coil's middle, at the fluid's distance.
    pub on_axis: Meridian,
    /// What can go on for ever.
    pub continuous: Continuous,
    /// Field on the axis for ever, T.
    pub continuous_t: f64,
    /// Field on the axis per square root of the heat in the cold winding, T/W^0.5: what compares coils
    /// whatever their wire. Pull in a bias goes with it, pull without bias with its square.
    pub per_root_watt: f64,
}

/// Reckons the sheet.
///
/// # Errors
/// When the coil cannot be built as written.
pub fn figures(shape: &Shape, at: &Use) -> Result<Figures, GeometryError> {
    let winding = shape.wind()?;
    let resistance = shape.resistance()?;
    let air = winding.inductance(None);
    let with_iron = winding.inductance(at.iron.as_ref());
    let nominal = resistance.nominal;
    let warm = resistance_at(nominal, Celsius(20.0), at.limit);
    let pwm = recommended_pwm(time_constant(air, warm));
    let x = warm.0 / (air.0 * at.pwm.unwrap_or(pwm).0);
    let each = Volts(at.supply.0 / f64::from(at.group.series.get()));
    let continuous = continuous(warm, each, x, at);
    let on_axis = winding.field_per_amp(at.iron.as_ref(), 0.0, at.z_m);
    Ok(Figures {
        turns: winding.turns(),
        length_m: winding.length_m(),
        copper_g: copper_g(&winding),
        resistance,
        air,
        with_iron,
        time_constant: time_constant(air, nominal),
        pwm,
        load: at.group.load(nominal, air),
        at_fluid: winding.field_per_amp(at.iron.as_ref(), at.r_m, at.z_m),
        on_axis,
        continuous,
        continuous_t: on_axis.bz * continuous.mean.0,
        per_root_watt: on_axis.bz / nominal.0.sqrt(),
    })
}

/// Steady heat is (limit - room) / (K/W); the rest follows from the winding at its limit. The duty is
/// that of an ideal freewheel path: a real one takes a little less.
fn continuous(warm: Ohms, supply: Volts, x: f64, at: &Use) -> Continuous {
    let heat = ((at.limit.0 - at.room.0) / at.to_room.0).max(0.0);
    let current = (heat / warm.0).sqrt();
    let full = supply.0 / warm.0;
    let duty = duty_for_heat(heat / (supply.0 * full), x);
    Continuous {
        to_room: at.to_room,
        heat: Watts(heat),
        current: Amps(current),
        voltage: Volts(current * warm.0),
        duty,
        mean: Amps(duty * full),
    }
}

/// Largest duty whose heat share does not pass `share`, by halving: the share rises with the duty.
fn duty_for_heat(share: f64, x: f64) -> f64 {
    if share >= 1.0 || share <= 0.0 {
        return share.clamp(0.0, 1.0);
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if heat_share(middle, x) <= share {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}
