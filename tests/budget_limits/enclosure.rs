//! A case or tank with a limit of its own.

use coilscore::budget::{Budget, Enclosure, Node};
use coilscore::units::{Celsius, JoulesPerKelvin, KelvinPerWatt};

use super::nets::{display, worked_coil};

/// By hand: limit 45 C in a room of 25 C, allowed rise 20 K / 1.25 = 16 K, bound 41 C. At 8 K/W the
/// enclosure then carries 2 W; no winding or backing comes near its own limit.
#[test]
fn an_enclosure_that_binds_keeps_the_margin_too() {
    let mut coil = worked_coil(90.0, 85.0);
    (coil.margin, coil.power_scale) = (0.25, 1.0);
    let mut settings = display(50, vec![coil; 4]);
    settings.enclosure = Some(Enclosure {
        heat: JoulesPerKelvin(2000.0),
        to_room: KelvinPerWatt(8.0),
        limit: Some(Celsius(45.0)),
    });
    let budget = Budget::new(&settings).unwrap();
    assert_eq!(budget.binding(), Node::Enclosure);
    assert!((budget.bound_c()[8] - 41.0).abs() < 1e-6, "{}", budget.bound_c()[8]);
    let floor: f64 = budget.floor_w().iter().sum();
    assert!((floor - 2.0).abs() < 1e-3, "{floor} W for ever");
}
