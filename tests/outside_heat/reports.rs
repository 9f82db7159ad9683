//! The report says of the worked display what its sums say.

use coilscore::budget::{Binds, Budget, BudgetSettings, InTheEnd, Node, report};
use coilscore::units::{Amps, Seconds, Share};

use super::nets::{Dice, display, random, worked_coil};

#[test]
fn the_worked_display() {
    let mut settings = display(200, vec![worked_coil(90.0, 65.0); 3]);
    settings.coils[1].period_over_tau = 0.761;
    settings.hold_s = Seconds(0.05);
    let said = report(&settings).unwrap();
    let coil = &said.coils[0];
    assert!((coil.full_w - 14.1232).abs() < 1e-3 && (coil.full_a - 1.17693).abs() < 1e-4);
    // 40 K over 15 K/W is 2.66667 W; at 71.6667 C the winding has 12.0301 ohm: 11.97 W in full.
    assert!((coil.continuous_duty - 0.222_78).abs() < 3e-5, "{coil:?}");
    assert!((coil.continuous_duty_slow - coil.continuous_duty).abs() < 1e-9);
    assert!(said.coils[1].continuous_duty > 0.46 && said.coils[1].continuous_duty < 0.48);
    // No neighbours: alone is no better than together.
    assert!((coil.alone_duty.unwrap() - coil.continuous_duty).abs() < 1e-6);
    assert!((coil.full_drive_s.unwrap() - 57.92).abs() < 0.3, "{coil:?}");
    assert!((coil.duty_10_min - 0.2228).abs() < 2e-3 && (coil.duty_4_h - 0.2228).abs() < 1e-3);
    assert!((coil.coil_4_h_c - 71.667).abs() < 0.1 && (coil.backing_4_h_c - 65.0).abs() < 0.1);
    assert_eq!(coil.binds, Binds::Heat(Node::Backing(0)));
    assert!((coil.rail_part - 1.0 / 3.0).abs() < 1e-9);
    assert!((said.rails[0].all_full_a - 3.0 * 1.24908).abs() < 1e-3);
    assert!(serde_json::to_string(&said).unwrap().contains("continuous_duty"));
}

#[test]
fn a_short_rail_is_named() {
    let mut settings = display(200, vec![worked_coil(200.0, 190.0); 2]);
    settings.rails[0].limit = Amps(1.0);
    let said = report(&settings).unwrap();
    assert_eq!(said.coils[1].binds, Binds::Rail("main".into()));
    assert!((said.rails[0].feeds - 1.0 / (2.0 * 1.24908)).abs() < 1e-4);
    assert!((said.coils[0].duty_4_h - said.rails[0].feeds).abs() < 1e-3);
}

#[test]
fn a_large_display_is_reported() {
    let said = report(&random(&mut Dice(5), 256)).unwrap();
    assert_eq!(said.coils.len(), 256);
    for coil in &said.coils {
        assert!(coil.alone_duty.unwrap() >= coil.continuous_duty - 1e-3, "{coil:?}");
    }
}

/// How often the first coil goes off and how often it comes on, at full wish, in the fourth hour.
fn switches(settings: &BudgetSettings) -> [u32; 2] {
    let hour = 3_600 * 20;
    let wishes = vec![Share::ALL; settings.coils.len()];
    let mut budget = Budget::new(settings).unwrap();
    let (mut was_on, mut switches) = (true, [0, 0]);
    for frame in 0..4 * hour {
        let on = budget.permit(&wishes)[0].code() != 0;
        if frame > 3 * hour && on != was_on {
            switches[usize::from(on)] += 1;
        }
        was_on = on;
    }
    switches
}

/// 0.22278 for ever, as worked above.
#[test]
fn a_pulse_too_long_for_heat_is_named() {
    for (least, steps, made) in [(0.22, 65_535, true), (0.23, 65_535, false), (0.0, 4, false)] {
        let mut settings = display(20, vec![worked_coil(90.0, 65.0); 2]);
        for coil in &mut settings.coils {
            (coil.least_duty, coil.steps) = (least, steps);
        }
        let said = report(&settings).unwrap();
        let coil = &said.coils[1];
        let least = least.max(f64::from(steps).recip());
        assert!((coil.least_duty - least).abs() < 2e-5, "{coil:?}");
        let ways = switches(&settings);
        if made {
            assert_eq!(coil.in_the_end, InTheEnd::Holds);
            assert_eq!(coil.binds, Binds::Heat(Node::Backing(0)));
            assert_eq!(ways, [0, 0], "it is on, and stays on");
        } else {
            assert_eq!((coil.in_the_end, &coil.binds), (InTheEnd::OnAndOff, &Binds::Driver));
            assert!(ways[0] > 10 && ways[1] > 10, "it goes off and on: {ways:?}");
            let json = serde_json::to_value(coil).unwrap();
            assert_eq!(
                (&json["binds"], &json["in_the_end"]),
                (&"driver".into(), &"on_and_off".into())
            );
        }
    }
}

/// A driver that holds its last frame for an hour makes the limiter look an hour ahead, where even a
/// cold coil has no more than what heat grants for ever.
#[test]
fn a_coil_that_never_comes_on_is_called_off() {
    let mut settings = display(20, vec![worked_coil(90.0, 65.0); 2]);
    settings.hold_s = Seconds(36_000.0);
    settings.coils[0].least_duty = 0.3;
    let said = report(&settings).unwrap();
    assert_eq!((said.coils[0].in_the_end, &said.coils[0].binds), (InTheEnd::Off, &Binds::Driver));
    assert_eq!(said.coils[1].in_the_end, InTheEnd::Holds);
    assert_eq!(switches(&settings), [0, 0]);
}
