//! What a display is made of: case, rails, kinds of coil.

use serde::Serialize;

use super::finding::At;
use super::lift::{self, CoilShape};
use super::limits::{
    AMPS, BACKING_HEAT, BACKING_LIMIT, BACKING_TO_AROUND, BACKINGS_LINK, CAPACITOR, COIL_HEAT,
    COIL_LIMIT, COIL_TO_AROUND, COIL_TO_BACKING, COILS_LINK, INDUCTANCE, MARGIN, POWER, RAMP,
    REFERENCE, RESISTANCE, SLEW, SPACE_HEAT, SPACE_LIMIT, TO_ROOM, VOLTS, WITHIN,
};
use super::section::Section;
use super::values::{Menu, Picked};
use super::wishes::{self, Law};

/// Case, tank or liquid around all coils.
#[derive(Debug, Clone, Serialize)]
pub struct Enclosure {
    /// Heat capacity, J/K.
    pub heat_j_per_k: f64,
    /// To the room, K/W.
    pub to_room_k_per_w: f64,
    /// Highest temperature, C, where it matters.
    pub limit_c: Option<At<f64>>,
}

/// Coils side by side warm each other.
#[derive(Debug, Clone, Serialize)]
pub struct Neighbours {
    /// Coils whose centres are no further apart count as neighbours, mm.
    pub within_mm: At<f64>,
    /// Winding to winding, W/K; default 0.
    pub coils_w_per_k: f64,
    /// Backing to backing, W/K; default 0.
    pub backings_w_per_k: f64,
}

/// A supply.
#[derive(Debug, Clone, Serialize)]
pub struct Rail {
    /// Unlike every other rail's.
    pub name: At<String>,
    /// Voltage at the coils, V.
    pub volts: f64,
    /// Mean current it may give, A.
    pub limit_a: At<f64>,
    /// Time over which its current is let in from the first frame on, ms; default 0.
    pub ramp_ms: f64,
    /// Fastest rise of its mean current, A/s; left out: any.
    pub slew_a_per_s: Option<f64>,
    /// Capacitor across it at the driver, uF, where it is known.
    pub capacitor_uf: Option<f64>,
}

/// How far a coil's numbers can be relied on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Trust {
    /// Estimated or from a data sheet: rises shrink by 25 %, heat counts 1.16 times. With resistance
    /// and voltage off by 5 % and heat paths by 20 %, no simulated coil passed its limit.
    Estimate,
    /// Fitted to a heating test, with what the fit itself says.
    Fit {
        /// By how much allowed rises shrink, percent.
        margin_percent: f64,
        /// How much more heat than modelled is reckoned with, percent.
        power_percent: f64,
    },
}

/// A kind of coil, with its backing.
#[derive(Debug, Clone, Serialize)]
pub struct CoilType {
    /// Unlike every other type's.
    pub name: At<String>,
    /// Winding resistance, ohm.
    pub resistance_ohm: f64,
    /// Temperature at which the resistance was measured, C; default 20.
    pub reference_c: f64,
    /// Inductance, uH. Measured in air: iron raises it, and the lower value is the safe one for
    /// heat. Left out: heat is reckoned for slow PWM.
    pub inductance_uh: Option<f64>,
    /// Heat capacity of winding and board, J/K.
    pub coil_j_per_k: f64,
    /// Heat capacity of the iron behind, J/K.
    pub backing_j_per_k: f64,
    /// Winding to backing, K/W.
    pub coil_to_backing_k_per_w: f64,
    /// Backing to case or room, K/W.
    pub backing_to_around_k_per_w: f64,
    /// Winding straight to case or room, K/W; left out: no such path.
    pub coil_to_around_k_per_w: Option<f64>,
    /// Highest temperature of the winding, C; default 90 (an estimate, confirm it).
    pub coil_limit_c: At<f64>,
    /// Highest temperature of the backing, C: magnet, glue and tank decide it; default 60 (an
    /// estimate, confirm it).
    pub backing_limit_c: At<f64>,
    /// Its shape, where it is known: then its field is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shape: Option<CoilShape>,
    /// Default [`Trust::Estimate`].
    pub trust: Trust,
    /// Its pull on the fluid, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub law: Option<At<Law>>,
}

/// Copper's resistance falls to nothing, on a straight line, at this far below 0 C (the
/// resistance-rise method of electrical handbooks).
const COPPER_ZERO_K: f64 = 234.5;

impl CoilType {
    /// PWM period over L/R: how rough the current is, and with it how much heat a mean current
    /// costs. Infinite, the safe assumption, where frequency or inductance is not known.
    ///
    /// Taken at the highest temperature of the winding, where the resistance and so the roughness
    /// are largest. Iron raises L and smooths the current, so the value in air is the safe one.
    pub fn period_over_tau(&self, pwm_hz: Option<f64>) -> f64 {
        let (Some(pwm_hz), Some(inductance_uh)) = (pwm_hz, self.inductance_uh) else {
            return f64::INFINITY;
        };
        let warming =
            (COPPER_ZERO_K + self.coil_limit_c.value) / (COPPER_ZERO_K + self.reference_c);
        self.resistance_ohm * warming / (inductance_uh * 1e-6 * pwm_hz)
    }
}

pub(super) fn read_enclosure(root: &mut Section<'_>) -> Option<Enclosure> {
    let mut section = root.table("enclosure")?;
    let heat = section.number(&SPACE_HEAT);
    let to_room = section.number(&TO_ROOM);
    let limit_c = section.number_if(&SPACE_LIMIT);
    section.finish();
    Some(Enclosure { heat_j_per_k: heat?.value, to_room_k_per_w: to_room?.value, limit_c })
}

pub(super) fn read_neighbours(root: &mut Section<'_>) -> Option<Neighbours> {
    let mut section = root.table("neighbours")?;
    let within = section.number(&WITHIN);
    let coils_w_per_k = section.number_or(&COILS_LINK, 0.0).value;
    let backings_w_per_k = section.number_or(&BACKINGS_LINK, 0.0).value;
    section.finish();
    Some(Neighbours { within_mm: within?, coils_w_per_k, backings_w_per_k })
}

/// The name apart from the rest: others may refer to it even when the rest is refused.
pub(super) type Named<T> = (Option<At<String>>, Option<T>);

pub(super) fn read_rail(mut section: Section<'_>) -> Named<Rail> {
    let name = section.text("name", 64, "add a name unlike the other rails'");
    let (volts, limit) = (section.number(&VOLTS), section.number(&AMPS));
    let ramp_ms = section.number_or(&RAMP, 0.0).value;
    let slew_a_per_s = section.number_if(&SLEW).map(|slew| slew.value);
    let capacitor_uf = section.number_if(&CAPACITOR).map(|capacitor| capacitor.value);
    section.finish();
    let rail = name.clone().zip(volts).zip(limit).map(|((name, volts), limit_a)| Rail {
        name,
        volts: volts.value,
        limit_a,
        ramp_ms,
        slew_a_per_s,
        capacitor_uf,
    });
    (name, rail)
}

pub(super) fn read_coil_type(mut section: Section<'_>) -> Named<CoilType> {
    let name = section.text("name", 64, "add a name unlike the other coil types'");
    (name.clone(), read_coil_values(section, name))
}

fn read_coil_values(mut section: Section<'_>, name: Option<At<String>>) -> Option<CoilType> {
    let resistance = section.number(&RESISTANCE);
    let reference_c = section.number_or(&REFERENCE, 20.0).value;
    let inductance = section.number_if(&INDUCTANCE);
    let coil_heat = section.number(&COIL_HEAT);
    let backing_heat = section.number(&BACKING_HEAT);
    let coil_to_backing = section.number(&COIL_TO_BACKING);
    let backing_to_around = section.number(&BACKING_TO_AROUND);
    let coil_to_around = section.number_if(&COIL_TO_AROUND);
    let coil_limit_c = section.number_or(&COIL_LIMIT, 90.0);
    let backing_limit_c = section.number_or(&BACKING_LIMIT, 60.0);
    let shape = lift::read_shape(&mut section);
    let trust = read_trust(&mut section);
    let law = wishes::read_law(&mut section);
    section.finish();
    Some(CoilType {
        name: name?,
        resistance_ohm: resistance?.value,
        reference_c,
        inductance_uh: inductance.map(|inductance| inductance.value),
        coil_j_per_k: coil_heat?.value,
        backing_j_per_k: backing_heat?.value,
        coil_to_backing_k_per_w: coil_to_backing?.value,
        backing_to_around_k_per_w: backing_to_around?.value,
        coil_to_around_k_per_w: coil_to_around.map(|path| path.value),
        coil_limit_c,
        backing_limit_c,
        shape,
        trust,
        law,
    })
}

fn read_trust(section: &mut Section<'_>) -> Trust {
    const MENU: Menu = Menu {
        words: &["estimate"],
        tables: &[("fit", "trust.fit = { margin_percent = 8, power_percent = 4 }")],
    };
    match section.menu("trust", &MENU, false).map(|picked| picked.value) {
        Some(Picked::Table(_, mut fit)) => {
            let (margin, power) = (fit.number(&MARGIN), fit.number(&POWER));
            fit.finish();
            margin.zip(power).map_or(Trust::Estimate, |(margin, power)| Trust::Fit {
                margin_percent: margin.value,
                power_percent: power.value,
            })
        }
        _ => Trust::Estimate,
    }
}
