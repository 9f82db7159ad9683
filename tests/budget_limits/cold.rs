//! A morning far colder than the room that the display states.

use coilscore::budget::Budget;
use coilscore::units::{Amps, Celsius, Share};

use super::nets::{display, worked_coil};
use super::plant::Plant;

/// Windings at 10 C under a stated room of 35 C carry 10 % more than at 35 C. No factor for
/// estimates stands between: the figures are taken as measured.
#[test]
fn a_cold_morning_overloads_no_supply() {
    let mut coil = worked_coil(90.0, 65.0);
    (coil.margin, coil.power_scale) = (0.0, 1.0);
    // Smooth current, where the supply gives far less than duty times current.
    coil.period_over_tau = 0.76;
    let mut settings = display(50, vec![coil; 8]);
    settings.room = Celsius(35.0);
    settings.rails[0].limit = Amps(4.0);
    let mut plant = Plant::new(&settings);
    plant.room_c = 10.0;
    let mut budget = Budget::new(&settings).unwrap();
    let codes: Vec<i32> = budget.permit(&[Share::ALL; 8]).iter().map(|duty| duty.code()).collect();
    let given: f64 = plant.supply_a(&codes).iter().sum();
    assert!(given <= 4.0 + 1e-9, "the supply gives {given} A");
    assert!(given > 3.9, "nothing is held back for no reason: {given} A");
    let counted = budget.load().rail_a[0];
    // Heat share by chords lies a hair above the exact one.
    assert!(counted >= given - 1e-9 && counted - given < 1e-3, "counted {counted} A of {given}");
}
