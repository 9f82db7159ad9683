//! Settings that cannot be a display are refused with the coil and the cure.

use coilscore::budget::{Budget, BudgetSettings, Enclosure, Neighbours, Polarity, Start};
use coilscore::units::{
    Amps, Celsius, CoilId, JoulesPerKelvin, KelvinPerWatt, Ohms, Seconds, Volts, WattsPerKelvin,
};

use super::nets::{display, worked_coil};

fn refused(change: impl FnOnce(&mut BudgetSettings)) -> String {
    let mut settings = display(200, vec![worked_coil(90.0, 60.0); 3]);
    change(&mut settings);
    Budget::new(&settings).map(|_| ()).unwrap_err().to_string()
}

fn pair(a: u32, b: u32, coils: f64) -> Neighbours {
    let coils = WattsPerKelvin(coils);
    Neighbours { a: CoilId(a), b: CoilId(b), coils, backings: WattsPerKelvin(0.1) }
}

#[test]
fn every_refusal_says_where_and_what_to_do() {
    let no_path = KelvinPerWatt(f64::INFINITY);
    let said = [
        (refused(|s| s.coils.clear()), "no coils"),
        (refused(|s| s.coils[2].heat.coil_limit = Celsius(25.0)), "coil 2: its limit"),
        (refused(|s| s.coils[1].heat.backing_limit = Celsius(20.0)), "coil 1: its backing's"),
        (refused(|s| s.coils[0].resistance = Ohms(0.0)), "coil 0: its resistance"),
        (refused(|s| s.coils[0].resistance = Ohms(f64::NAN)), "coil 0: its resistance"),
        (refused(|s| s.coils[1].rail = 1), "coil 1: the index of its rail"),
        (refused(|s| s.coils[1].period_over_tau = f64::NAN), "coil 1: its PWM period"),
        (refused(|s| s.coils[1].margin = -0.1), "coil 1: its margin"),
        (refused(|s| s.coils[1].power_scale = 0.9), "coil 1: its power factor"),
        (refused(|s| s.coils[1].steps = 0), "coil 1: its driver's steps"),
        (refused(|s| s.coils[1].polarity = Polarity::SignMagnitude), "steps is 65535"),
        (refused(|s| s.coils[2].heat.coil = JoulesPerKelvin(0.0)), "coil 2: its heat capacity"),
        (refused(|s| s.coils[2].heat.coil = JoulesPerKelvin(1e-4)), "coil 2: the winding's time"),
        (refused(|s| s.coils[2].heat.backing_to_around = no_path), "coil 2: no path leads"),
        (refused(|s| s.coils[2].heat.coil_to_backing = no_path), "heat of its winding"),
        (refused(|s| s.room = Celsius(f64::NAN)), "the room"),
        (refused(|s| s.hold_s = Seconds(f64::INFINITY)), "the driver's hold"),
        (refused(|s| s.rails[0].volts = Volts(0.0)), "rail 0: its voltage"),
        (refused(|s| s.rails[0].limit = Amps(-1.0)), "rail 0: its current limit"),
        (refused(|s| s.neighbours = vec![pair(0, 3, 0.1)]), "neighbours 0 and 3: no such"),
        (refused(|s| s.neighbours = vec![pair(1, 1, 0.1)]), "neighbours 1 and 1"),
        (refused(|s| s.neighbours = vec![pair(0, 1, -0.1)]), "must be 0 or more"),
        (refused(|s| s.neighbours = vec![pair(0, 1, 0.1), pair(1, 0, 0.1)]), "given twice"),
        (refused(|s| s.start = Start::Nodes(vec![Celsius(20.0)])), "start temperatures"),
        (refused(|s| s.start = Start::Nodes(vec![Celsius(f64::NAN); 6])), "start temperature"),
        (
            refused(|s| {
                s.enclosure = Some(Enclosure {
                    heat: JoulesPerKelvin(100.0),
                    to_room: KelvinPerWatt(1.0),
                    limit: Some(Celsius(25.0)),
                });
            }),
            "the enclosure's limit",
        ),
    ];
    for (sentence, part) in said {
        assert!(sentence.contains(part), "'{sentence}' does not say '{part}'");
    }
}
