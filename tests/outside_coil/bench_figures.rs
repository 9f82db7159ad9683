//! The sheet of a coil, sweeps, and duties for currents.

use coilscore::coil::copper::resistance_at;
use coilscore::coil::figures::{Use, figures};
use coilscore::coil::geometry::{Group, Shape};
use coilscore::coil::pwm::Drive;
use coilscore::coil::sweep::Sweep;
use coilscore::units::{Amps, Celsius, Hertz, KelvinPerWatt, Ohms, Volts};
use proptest::prelude::*;

use crate::agree::{Table, Worst};
use crate::copper::{board_coil, wound_coil};

fn working() -> Use {
    Use {
        iron: None,
        r_m: 0.010,
        z_m: 0.008,
        group: Group::new(1, 1).unwrap(),
        supply: Volts(12.0),
        pwm: None,
        to_room: KelvinPerWatt(17.5),
        room: Celsius(25.0),
        limit: Celsius(90.0),
    }
}

#[test]
fn the_sheet_of_a_coil_agrees_with_itself() {
    let shape = Shape::Spiral(board_coil());
    let sheet = figures(&shape, &working()).unwrap();
    let winding = shape.wind().unwrap();
    assert_eq!(sheet.on_axis, winding.field_per_amp(None, 0.0, 0.008));
    assert_eq!(sheet.at_fluid, winding.field_per_amp(None, 0.010, 0.008));
    assert_eq!((sheet.air, sheet.with_iron), (sheet.air, sheet.air));
    assert_eq!(sheet.pwm, Hertz(22_000.0));
    let warm = resistance_at(sheet.resistance.nominal, Celsius(20.0), Celsius(90.0));
    let on = sheet.continuous;
    assert!((on.heat.0 - 65.0 / 17.5).abs() < 1e-12);
    assert!((on.current.0 * on.current.0 * warm.0 - on.heat.0).abs() < 1e-12);
    assert!((on.voltage.0 - on.current.0 * warm.0).abs() < 1e-12);
    // The drive of the same coil at that duty makes that heat and that mean current.
    let drive = Drive {
        supply: Volts(12.0),
        switch_drop: Volts(0.0),
        freewheel_drop: Volts(0.0),
        resistance: warm,
        x: warm.0 / (sheet.air.0 * 22_000.0),
    };
    let steady = drive.steady(on.duty);
    assert!((steady.heat.0 / on.heat.0 - 1.0).abs() < 1e-9, "{steady:?}");
    assert!((steady.mean.0 / on.mean.0 - 1.0).abs() < 1e-9);
    assert!(on.mean.0 < on.current.0 && on.mean.0 > 0.95 * on.current.0, "fast PWM is nearly DC");
    // Slow PWM pays for its ripple.
    let slow = figures(&shape, &Use { pwm: Some(Hertz(100.0)), ..working() }).unwrap();
    assert!(slow.continuous.mean.0 < 0.7 * on.mean.0);
    // A room as hot as the limit allows nothing; a strong supply on a cool coil allows everything.
    let none = figures(&shape, &Use { room: Celsius(95.0), ..working() }).unwrap();
    assert_eq!((none.continuous.heat.0, none.continuous.duty), (0.0, 0.0));
    let cool = figures(&shape, &Use { to_room: KelvinPerWatt(0.5), ..working() }).unwrap();
    assert_eq!(cool.continuous.duty, 1.0);
}

/// Field per root watt does not depend on the thickness of the wire, only on the copper's volume and
/// place: halve the trace, double the turns, and it stays but for the spaces.
#[test]
fn field_per_root_watt_is_the_wires_affair_only_by_its_spaces() {
    let at = |trace_mm: f64| {
        let mut shape = board_coil();
        (shape.trace_mm, shape.space_mm) = (trace_mm, trace_mm * 0.1);
        shape.outer_mm = 6.0 + 2.0 * 11.0;
        figures(&Shape::Spiral(shape), &working()).unwrap()
    };
    let (wide, narrow) = (at(1.0), at(0.5));
    assert_eq!((wide.turns, narrow.turns), (120, 240));
    assert!((wide.per_root_watt / narrow.per_root_watt - 1.0).abs() < 0.02);
    assert!((narrow.on_axis.bz / wide.on_axis.bz - 2.0).abs() < 0.03);
}

#[test]
fn sweeps_show_every_value_and_what_cannot_be_built() {
    let shape = Shape::Spiral(board_coil());
    let sweep: Sweep = "layers=2..16".parse().unwrap();
    let rows = sweep.run(&shape, |_| working()).unwrap();
    assert_eq!(rows.len(), 15);
    let turns: Vec<usize> = rows.iter().map(|row| row.figures.as_ref().unwrap().turns).collect();
    assert_eq!((turns[0], turns[10], turns[14]), (40, 240, 320));
    let twelve = rows[10].figures.as_ref().unwrap();
    assert_eq!(*twelve, figures(&shape, &working()).unwrap());
    // Each layer adds field per ampere, and less than the one before it.
    let field: Vec<f64> = rows.iter().map(|row| row.figures.as_ref().unwrap().on_axis.bz).collect();
    for three in field.windows(3) {
        assert!(three[1] > three[0] && three[2] - three[1] < three[1] - three[0]);
    }
    let trace: Sweep = "trace=0.02..0.42:0.1".parse().unwrap();
    let rows = trace.run(&shape, |_| working()).unwrap();
    assert_eq!(rows.len(), 5);
    assert!(rows[0].figures.is_err() && rows[4].figures.is_ok());
    let awg: Sweep = "awg=24..34:2".parse().unwrap();
    let rows = awg.run(&Shape::Wound(wound_coil()), |_| working()).unwrap();
    assert_eq!(
        rows.iter().map(|row| row.value).collect::<Vec<_>>(),
        [24.0, 26.0, 28.0, 30.0, 32.0, 34.0]
    );
    let even: Sweep = "outer=10..38".parse().unwrap();
    assert_eq!((even.values().count(), even.values().last()), (15, Some(38.0)));
    // Inner layers keep their own copper.
    let mut unequal = board_coil();
    unequal.copper_um = vec![35.0, 18.0, 18.0, 35.0];
    let Shape::Spiral(six) = sweep.apply(&Shape::Spiral(unequal), 6.0).unwrap() else { panic!() };
    assert_eq!(six.copper_um, [35.0, 18.0, 18.0, 18.0, 18.0, 35.0]);
}

#[test]
fn currents_match_computed_waveforms() {
    // 50 rows: quadrature of the waveform and 4000-cycle exact stepping (scipy 1.17.1), ideal path.
    let mut worst = Worst::new("PWM, mean, RMS, heat: scipy quadrature and stepping", 2e-7);
    let mut back = Worst::new("PWM, duty found from mean current", 1e-12);
    for row in Table::read(include_str!("data/pwm_rl.csv")).rows() {
        let (volts, ohms) = (row.get("V"), row.get("R_ohm"));
        let drive = Drive {
            supply: Volts(volts),
            switch_drop: Volts(0.0),
            freewheel_drop: Volts(0.0),
            resistance: Ohms(ohms),
            x: ohms / (row.get("L_H") * row.get("f_Hz")),
        };
        let steady = drive.steady(row.get("D"));
        worst.number(steady.mean.0, row.get("I_mean_A"));
        worst.number(steady.rms.0, row.get("I_rms_A"));
        worst.number(steady.heat.0, row.get("heat_W"));
        back.number(drive.duty_for_mean(steady.mean).unwrap(), row.get("D"));
    }
    worst.print();
    back.print();
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_duty_found_makes_the_current(
        share in 0.0..1.0_f64, x in prop_oneof![Just(0.0), 1e-3..30.0_f64, Just(f64::INFINITY)],
        drop in prop_oneof![Just(0.0), 0.1..1.5_f64], switch in 0.0..0.5_f64,
    ) {
        let drive = Drive {
            supply: Volts(12.0), switch_drop: Volts(switch), freewheel_drop: Volts(drop),
            resistance: Ohms(10.0), x,
        };
        let full = (12.0 - switch) / 10.0;
        let duty = drive.duty_for_mean(Amps(share * full)).unwrap();
        let mean = drive.steady(duty).mean.0;
        prop_assert!((mean - share * full).abs() < 1e-9, "{mean} for {}", share * full);
    }
}

#[test]
fn currents_out_of_reach_have_no_duty() {
    let drive = Drive {
        supply: Volts(12.0),
        switch_drop: Volts(0.0),
        freewheel_drop: Volts(0.5),
        resistance: Ohms(10.0),
        x: 0.5,
    };
    for amps in [1.21, -0.1, f64::NAN, f64::INFINITY] {
        assert_eq!(drive.duty_for_mean(Amps(amps)), None, "{amps}");
    }
    // Fast PWM: D = (I R + V_d) / (V + V_d) (derived).
    let fast = Drive { x: 0.0, ..drive };
    assert!((fast.duty_for_mean(Amps(0.6)).unwrap() - 6.5 / 12.5).abs() < 1e-12);
}
