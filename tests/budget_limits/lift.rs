//! A wish as a share of pull, judged by currents that are worked out apart from the program: the
//! coil's current piece by piece through each PWM period until it repeats, with the winding's own
//! resistance and a diode that lets nothing back, and the pull of its mean.

use coilscore::budget::{
    Budget, BudgetSettings, CoilBudget, Polarity, Pull, PullRange, PullSettings, Start,
    pull_reports,
};
use coilscore::coil::lift::PullLaw;
use coilscore::units::{Amps, Celsius, KelvinPerWatt, Ohms, Seconds, Share, Volts};

use super::nets::{display, worked_coil};

/// The worked displays of physics: a coil of 13.4046 ohm on 12 V, computed from geometry elsewhere;
/// the magnet set for 0.5, 0.8 and 0.9 of the lifting pull. c1 of the first follows from where it
/// lifts and drops.
pub(crate) const HALF: PullLaw = PullLaw { q0: 0.5, c1: 1.51321, c2: 0.777_090 };
const EIGHT: PullLaw = PullLaw { q0: 0.8, c1: 1.84647, c2: 0.777_090 };
pub(crate) const NINE: PullLaw = PullLaw { q0: 0.9, c1: 1.94192, c2: 0.777_090 };

/// Rise and release of 150 ms and 100 ms, drop at 0.6 of the lifting pull.
pub(crate) fn pull(law: PullLaw, range: PullRange) -> PullSettings {
    PullSettings {
        law,
        full: Amps(12.0 / 13.4046),
        most_u: 1.0,
        drop_share: 0.6,
        switch_drop: Volts(0.0),
        freewheel_drop: Volts(0.0),
        rise: Seconds(0.15),
        release: Seconds(0.1),
        range,
    }
}

/// One coil of fast PWM that nothing else limits, at 20 C.
pub(crate) fn bench(pull: PullSettings, polarity: Polarity) -> BudgetSettings {
    let mut coil = CoilBudget {
        resistance: Ohms(13.4046),
        period_over_tau: 0.0,
        polarity,
        steps: 32_767,
        pull: Pull::Law(pull),
        ..worked_coil(150.0, 140.0)
    };
    coil.heat.coil_to_backing = KelvinPerWatt(0.5);
    coil.heat.backing_to_around = KelvinPerWatt(2.0);
    let mut settings = display(200, vec![coil]);
    settings.room = Celsius(20.0);
    settings
}

/// Mean current at a compare value and a winding temperature, with the sign.
pub(crate) fn mean_a(settings: &BudgetSettings, code: i32, at_c: f64) -> f64 {
    let coil = &settings.coils[0];
    let Pull::Law(pull) = coil.pull else { panic!("a law") };
    let ohms = coil.resistance.0 * (234.5 + at_c) / (234.5 + coil.reference.0);
    let duty = f64::from(code.abs()) / f64::from(coil.steps);
    let on = (settings.rails[0].volts.0 - pull.switch_drop.0) / ohms;
    let back = pull.freewheel_drop.0 / ohms;
    // Copper warmer than the limit, for which the stated x holds, has a longer L/R and so on.
    let x = coil.period_over_tau * (234.5 + at_c) / (234.5 + coil.heat.coil_limit.0);
    let mean = match x {
        x if x.is_infinite() => duty * on,
        // Smooth: the mean voltage over the resistance.
        x if x < 1e-3 => (duty * on - (1.0 - duty) * back).max(0.0),
        x => periods(duty, x, on, back),
    };
    if code < 0 { -mean } else { mean }
}

/// Charge of one period over the period once periods repeat, time in L/R: an exponential piece
/// towards `on`, one towards minus `back` that ends at nothing.
fn periods(duty: f64, x: f64, on: f64, back: f64) -> f64 {
    let piece = |from: f64, to: f64, span: f64| {
        let end = to + (from - to) * (-span).exp();
        (end, to * span + from - end)
    };
    let (mut current, mut charge) = (0.0, 0.0);
    for _ in 0..(40.0 / x).ceil() as u32 + 2 {
        let (peak, up) = piece(current, on, duty * x);
        let rest = (1.0 - duty) * x;
        let dies = if back > 0.0 { (1.0 + peak / back).ln() } else { f64::INFINITY };
        let (end, down) = piece(peak, -back, rest.min(dies));
        (current, charge) = (end.max(0.0), up + down);
    }
    charge / x
}

fn pull_of(settings: &BudgetSettings, code: i32, at_c: f64) -> f64 {
    let Pull::Law(pull) = settings.coils[0].pull else { panic!("a law") };
    let u = mean_a(settings, code, at_c) / pull.full.0;
    pull.law.q0 + pull.law.c1 * u + pull.law.c2 * u * u
}

/// The first frame of a budget whose coil is that warm.
fn first(settings: &BudgetSettings, at_c: f64, wish: f64) -> (i32, f64) {
    let start = Start::Nodes(vec![Celsius(at_c); 2]);
    let mut budget = Budget::new(&BudgetSettings { start, ..settings.clone() }).unwrap();
    let code = budget.permit(&[Share::saturating(wish)])[0].code();
    (code, budget.totals().cut_driver[0])
}

#[test]
fn a_wish_is_a_share_of_pull_at_any_temperature_speed_and_drop() {
    let shares: Vec<f64> = (-20..=20).map(|n| f64::from(n) / 20.0).collect();
    for (x, drop, law) in [
        (0.0, 0.0, NINE),
        (0.761, 0.5, EIGHT),
        (3.0, 0.7, HALF),
        (30.0, 0.5, HALF),
        (f64::INFINITY, 0.5, NINE),
        (0.761, 0.5, PullLaw { q0: 0.0, c1: 0.0, c2: 2.0 }),
    ] {
        let mut pull = pull(law, PullRange::FromRest);
        (pull.freewheel_drop, pull.switch_drop, pull.most_u) = (Volts(drop), Volts(0.2), 0.7);
        let mut settings = bench(pull, Polarity::SignMagnitude);
        settings.coils[0].period_over_tau = x;
        let most = law.pull(0.7);
        let least = law.pull((-0.7_f64).max(-law.c1 / (2.0 * law.c2)));
        for at_c in [20.0, 41.0, 62.0, 83.0] {
            for &share in &shares {
                let wanted = match share {
                    share if share < 0.0 => law.q0 - share * (least - law.q0),
                    share => law.q0 + share * (most - law.q0),
                };
                let (code, _) = first(&settings, at_c, share);
                let got = pull_of(&settings, code, at_c);
                // One step of the driver and the change of x with the temperature.
                let near = if x > 1.0 && x.is_finite() { 1.5e-2 } else { 3e-4 };
                let what = format!("x {x}, {drop} V, {at_c} C, wish {share}");
                assert!((got - wanted).abs() < near, "{what}: {got} for {wanted}");
            }
        }
    }
}

/// Each coil by its own winding, with one without a law between them.
#[test]
fn coils_of_one_display_follow_their_own_temperatures() {
    let mut settings = bench(pull(HALF, PullRange::FromRest), Polarity::Unipolar);
    let coil = settings.coils[0];
    settings.coils = vec![coil, CoilBudget { pull: Pull::Straight, ..coil }, coil];
    let at_c = [30.0, 50.0, 70.0, 30.0, 50.0, 70.0];
    settings.start = Start::Nodes(at_c.map(Celsius).to_vec());
    let mut budget = Budget::new(&settings).unwrap();
    let codes: Vec<i32> =
        budget.permit(&[Share::saturating(0.3); 3]).iter().map(|duty| duty.code()).collect();
    assert_eq!(codes[1], (0.3 * 32_767.0) as i32);
    for coil in [0, 2] {
        let (got, wanted) =
            (pull_of(&settings, codes[coil], at_c[coil]), 0.5 + 0.3 * (HALF.pull(1.0) - 0.5));
        assert!((got - wanted).abs() < 2e-4, "coil {coil}: {got} for {wanted}");
    }
}

#[test]
fn copper_that_is_too_warm_for_a_full_wish_is_counted_as_the_drivers() {
    let settings = bench(pull(NINE, PullRange::FromRest), Polarity::Unipolar);
    assert_eq!(first(&settings, 20.0, 1.0), (32_767, 0.0));
    let (code, cut) = first(&settings, 70.0, 1.0);
    // Copper at 70 C has (234.5 + 70)/(234.5 + 20) times its resistance at 20 C.
    assert_eq!(code, 32_767);
    assert!((cut - (304.5 / 254.5 - 1.0)).abs() < 1e-9, "{cut}");
    // One that works one way cannot oppose.
    assert_eq!(first(&settings, 20.0, -0.5), (0, 0.5));
}

#[test]
fn an_opposing_current_stops_where_the_pull_is_least() {
    // A weak magnet: the pull is least at u = -0.4 / (2 x 1.6) = -0.125, 0.025 below rest.
    let law = PullLaw { q0: 0.3, c1: 0.4, c2: 1.6 };
    let settings = bench(pull(law, PullRange::FromRest), Polarity::SignMagnitude);
    for wish in [-1.0, -0.9, -0.5, -0.1] {
        let (code, _) = first(&settings, 20.0, wish);
        let u = mean_a(&settings, code, 20.0) * 13.4046 / 12.0;
        assert!((-0.125..=0.0).contains(&u), "{wish}: u {u}");
        assert!((pull_of(&settings, code, 20.0) - (0.3 + wish * 0.025)).abs() < 1e-4, "{wish}");
    }
    // Without a magnet there is nothing to oppose.
    let law = PullLaw { q0: 0.0, c1: 0.0, c2: 2.0 };
    let settings = bench(pull(law, PullRange::FromRest), Polarity::SignMagnitude);
    assert_eq!(first(&settings, 20.0, -1.0), (0, 1.0));
}

#[test]
fn a_magnet_the_wrong_way_round_is_pulled_with_the_other_sign_or_through_its_dip() {
    let turned = PullLaw { c1: -NINE.c1, ..NINE };
    let both = bench(pull(turned, PullRange::FromRest), Polarity::SignMagnitude);
    let right = bench(pull(NINE, PullRange::FromRest), Polarity::SignMagnitude);
    for wish in [-0.7, -0.1, 0.2, 1.0] {
        assert_eq!(first(&both, 33.0, wish).0, -first(&right, 33.0, wish).0, "{wish}");
    }
    // One way only: 0.2 - u + 2 u^2 is back at rest at u = 0.5.
    let law = PullLaw { q0: 0.2, c1: -1.0, c2: 2.0 };
    let settings = bench(pull(law, PullRange::FromRest), Polarity::Unipolar);
    assert_eq!(first(&settings, 20.0, 0.0).0, 0);
    for wish in [0.01, 0.4, 1.0] {
        let (code, _) = first(&settings, 20.0, wish);
        assert!((pull_of(&settings, code, 20.0) - (0.2 + wish)).abs() < 2e-4, "{wish}");
    }
    let hopeless = PullLaw { q0: 0.2, c1: -2.5, c2: 2.0 };
    let settings = bench(pull(hopeless, PullRange::FromRest), Polarity::Unipolar);
    let said = Budget::new(&settings).unwrap_err().to_string();
    assert!(said.contains("swap the coil's leads"), "{said}");
}

#[test]
fn from_just_lifted_the_least_wish_lifts_and_none_rests() {
    let settings = bench(pull(HALF, PullRange::FromLift), Polarity::Unipolar);
    assert_eq!(first(&settings, 20.0, 0.0).0, 0);
    for wish in [0.001, 0.5, 1.0] {
        let (code, _) = first(&settings, 20.0, wish);
        let wanted = 1.0 + wish * (HALF.pull(1.0) - 1.0);
        assert!((pull_of(&settings, code, 20.0) - wanted).abs() < 2e-4, "{wish}");
    }
}

/// Currents at which the worked displays lift and drop, reckoned apart from the program.
#[test]
fn worked_displays_lift_and_drop_where_they_should() {
    for (law, lift, drop) in [
        (HALF, 0.287_867, 0.063_982_3),
        (EIGHT, 0.103_78, -0.113_76),
        (NINE, 0.050_475_9, -0.165_439),
    ] {
        let settings = bench(pull(law, PullRange::FromRest), Polarity::SignMagnitude);
        let told = pull_reports(&settings)[0].unwrap();
        // At the temperature at which full current is what the law calls full, duty is current.
        assert!((told.lift_duty.unwrap() - lift).abs() < 5e-6, "{told:?}");
        assert!((told.drop_duty.unwrap() - drop).abs() < 5e-6, "{told:?}");
        assert_eq!(told.magnet_holds, law.q0 > 0.6);
        let wish = told.lift_wish.unwrap();
        assert!((law.q0 + wish * (law.pull(1.0) - law.q0) - 1.0).abs() < 1e-12, "{wish}");
    }
    assert!((NINE.pull(1.0) - 3.61901).abs() < 1e-5);
    // Held at what drops it, smooth current takes (0.0640 / 0.2879)^2 of the heat: a twentieth.
    let settings = bench(pull(HALF, PullRange::FromRest), Polarity::Unipolar);
    let told = pull_reports(&settings)[0].unwrap();
    assert!((told.drop_heat_of_lift.unwrap() * 20.24 - 1.0).abs() < 2e-3, "{told:?}");
    // With a tenth more pull than drops it, 0.66: u is 0.1005 by the same quadratic, an eighth.
    let held = bench(pull(HALF, PullRange::Held { margin: 0.1, at: 0.5 }), Polarity::Unipolar);
    let told = pull_reports(&held)[0].unwrap();
    assert!((told.hold_duty.unwrap() - 0.1005).abs() < 1e-4, "{told:?}");
    assert!((told.hold_heat_of_lift.unwrap() - 0.122).abs() < 1e-3, "{told:?}");
    assert_eq!(told.lift_wish, Some(0.5));
    let law = PullLaw { q0: 0.1, c1: 0.2, c2: 0.3 };
    let settings = bench(pull(law, PullRange::FromRest), Polarity::Unipolar);
    let told = pull_reports(&settings)[0].unwrap();
    assert_eq!((told.lift_wish, told.lift_duty, told.hold_duty), (None, None, None));
    // One way only, a strong magnet never lets go.
    let settings = bench(pull(NINE, PullRange::FromRest), Polarity::Unipolar);
    let told = pull_reports(&settings)[0].unwrap();
    assert_eq!((told.drop_duty, told.magnet_holds), (None, true));
}
