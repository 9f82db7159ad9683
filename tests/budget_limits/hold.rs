//! Pull in, hold, let go: what a coil does with fluid that it lifts, judged by fluid that follows the
//! pull of the duties that were granted.

use coilscore::budget::{Budget, BudgetSettings, CoilBudget, Polarity, Pull, PullRange};
use coilscore::coil::lift::PullLaw;
use coilscore::units::{Amps, Rate, Seconds, Share};

use super::lift::{HALF, NINE, bench, mean_a, pull};
use super::nets::{Dice, rail};

const HELD: PullRange = PullRange::Held { margin: 0.1, at: 0.3 };

/// Duties of frames that wish this, 200 a second.
fn duties(budget: &mut Budget, wish: f64, frames: usize) -> Vec<i32> {
    (0..frames).map(|_| budget.permit(&[Share::saturating(wish)])[0].code()).collect()
}

fn pull_of(settings: &BudgetSettings, code: i32, at_c: f64) -> f64 {
    let Pull::Law(pull) = settings.coils[0].pull else { panic!("a law") };
    let u = mean_a(settings, code, at_c) / pull.full.0;
    pull.law.q0 + pull.law.c1 * u + pull.law.c2 * u * u
}

#[test]
fn a_lifting_wish_pulls_in_for_the_rise_and_then_holds() {
    let settings = bench(pull(HALF, HELD), Polarity::Unipolar);
    let mut budget = Budget::new(&settings).unwrap();
    // 0.29 of 0.3 spans that part of the way from rest to where it would lift.
    let below = pull_of(&settings, duties(&mut budget, 0.29, 1)[0], 20.0);
    assert!((below - (0.5 + 0.5 * 0.29 / 0.3)).abs() < 2e-4, "{below}");
    let codes = duties(&mut budget, 0.3, 100);
    // 150 ms of 5 ms: 30 frames in full, then just above what drops it, whatever the wish.
    assert!(codes[..30].iter().all(|&code| code == 32_767), "{codes:?}");
    let winding_c = budget.load().node_c[0];
    let held = pull_of(&settings, codes[31], winding_c);
    assert!((held - 0.66).abs() < 2e-3, "{held}");
    assert!(codes[30..].iter().all(|&code| (code - codes[31]).abs() < 100), "{codes:?}");
    assert_eq!(duties(&mut budget, 1.0, 1)[0], *codes.last().unwrap());
    // A wish that falls a little still holds; one whose own pull would drop it does not.
    let drop_at = 0.3 * (0.6 - 0.5) / (1.0 - 0.5);
    let held = duties(&mut budget, drop_at + 0.01, 5);
    assert_eq!(held[0], *codes.last().unwrap());
    let fallen = pull_of(&settings, duties(&mut budget, drop_at - 0.01, 1)[0], winding_c);
    assert!(fallen < 0.6, "{fallen}");
    assert_eq!(duties(&mut budget, 0.0, 1), [0]);
    // Nothing of this is a cut.
    let totals = budget.totals();
    assert!(totals.cut_heat[0] + totals.cut_rail[0] < 1e-12, "{totals:?}");
    let steps = totals.cut_driver[0] * 32_767.0;
    assert!(steps < 140.0, "{steps} steps: more than rounding and warm copper take");
}

#[test]
fn fluid_that_hangs_is_let_go_by_a_pulse_on_a_bridge() {
    let mut settings = bench(pull(NINE, HELD), Polarity::SignMagnitude);
    settings.coils[0].turn_rest = Seconds(0.005);
    let mut budget = Budget::new(&settings).unwrap();
    assert!(duties(&mut budget, 0.0, 50).iter().all(|&code| code == 0), "nothing hung there");
    duties(&mut budget, 1.0, 100);
    // The magnet holds more than drops it times the margin: no current is needed.
    assert_eq!(duties(&mut budget, 1.0, 1), [0]);
    let codes = duties(&mut budget, 0.0, 60);
    let first = codes.iter().position(|&code| code < 0).unwrap();
    assert!(first <= 1, "the bridge rests one frame of 5 ms at most: {codes:?}");
    // 100 ms: 20 frames that drop it, then nothing.
    let pulse = &codes[first..first + 20];
    assert!(pulse.iter().all(|&code| pull_of(&settings, code, 21.0) < 0.6), "{pulse:?}");
    assert!(codes[first + 20..].iter().all(|&code| code == 0), "{codes:?}");
    // A wish that comes back ends the pulse, after the rest that a bridge needs.
    duties(&mut budget, 1.0, 100);
    duties(&mut budget, 0.0, 8);
    let again = duties(&mut budget, 1.0, 3);
    assert_eq!((again[0], again[1]), (0, 32_767), "{again:?}");
}

#[test]
fn all_off_is_off_and_the_pulse_comes_when_hands_let_go() {
    let settings = bench(pull(NINE, HELD), Polarity::SignMagnitude);
    let mut budget = Budget::new(&settings).unwrap();
    duties(&mut budget, 1.0, 100);
    for _ in 0..200 {
        assert_eq!(budget.all_off()[0].code(), 0);
    }
    assert!(duties(&mut budget, 0.0, 2)[1] < 0, "it still hangs there");
    // Also when it was about to be let go when all went off.
    let mut budget = Budget::new(&settings).unwrap();
    duties(&mut budget, 1.0, 100);
    duties(&mut budget, 0.0, 4);
    for _ in 0..200 {
        assert_eq!(budget.all_off()[0].code(), 0);
    }
    let codes = duties(&mut budget, 0.0, 40);
    assert!(codes[..2].iter().any(|&code| code < 0), "it still hangs there: {codes:?}");
    assert_eq!(codes.last(), Some(&0), "and is let go once");
    // Fluid that falls by itself has fallen, and is pulled in anew.
    let settings = bench(pull(HALF, HELD), Polarity::Unipolar);
    let mut budget = Budget::new(&settings).unwrap();
    duties(&mut budget, 1.0, 100);
    for _ in 0..30 {
        budget.all_off();
    }
    assert!(duties(&mut budget, 1.0, 30).iter().all(|&code| code == 32_767));
}

#[test]
fn fluid_lost_to_another_coil_of_the_supply_is_pulled_in_again() {
    let holder = bench(pull(HALF, HELD), Polarity::Unipolar).coils[0];
    let greedy = CoilBudget { pull: Pull::Straight, priority: 0, ..holder };
    let mut settings = bench(pull(HALF, HELD), Polarity::Unipolar);
    settings.coils = vec![CoilBudget { priority: 1, ..holder }, greedy];
    settings.rails = vec![rail("one", 12.0, 12.0 / 13.4046 * 254.5 / 244.5)];
    let mut budget = Budget::new(&settings).unwrap();
    let mut run = |greedy: f64, frames: usize| -> Vec<i32> {
        let wishes = [Share::ALL, Share::saturating(greedy)];
        (0..frames).map(|_| budget.permit(&wishes)[0].code()).collect()
    };
    let held = *run(0.0, 60).last().unwrap();
    // For 5 frames too little is left to hold it: it has come down for as long, and for as long it
    // is pulled.
    assert!(run(1.0, 5).iter().all(|&code| code < held));
    let again = run(0.0, 12);
    assert!(again[..5].iter().all(|&code| code > held), "{again:?}");
    assert!(again[5..].iter().all(|&code| (code - held).abs() < 100), "{again:?} {held}");
}

/// Eight coils on a supply that cannot lift eight at once, nor four: turns get all of them up.
#[test]
fn coils_of_a_short_supply_take_turns_until_all_are_up() {
    let mut settings = bench(pull(HALF, HELD), Polarity::Unipolar);
    settings.coils = vec![settings.coils[0]; 8];
    // Half of one coil in full: smooth current of eight in equal parts is u = 0.25, of two 0.5.
    settings.rails = vec![rail("short", 12.0, 12.0 / 13.4046 * 0.5)];
    let mut budget = Budget::new(&settings).unwrap();
    let wishes = [Share::ALL; 8];
    let mut lifted = [0_u32; 8];
    for frame in 0..3000 {
        let codes: Vec<i32> = budget.permit(&wishes).iter().map(|duty| duty.code()).collect();
        for (coil, code) in codes.iter().enumerate() {
            let up = pull_of(&settings, *code, 20.0) >= 1.0;
            lifted[coil] += u32::from(up);
        }
        if lifted.iter().all(|&frames| frames >= 30) {
            let totals = budget.totals();
            assert!(totals.cut_rail.iter().all(|&cut| cut > 0.0), "{totals:?}");
            println!("all up after {:.1} s", f64::from(frame) / 200.0);
            return;
        }
    }
    panic!("never all up: {lifted:?}");
}

/// Heat that leaves less than lifts: the coil tries, and rests longer each time instead of burning.
#[test]
fn a_coil_too_hot_to_lift_does_not_burn_on_in_vain() {
    let law = PullLaw { q0: 0.3, c1: 0.5, c2: 0.4 };
    let mut settings = bench(pull(law, HELD), Polarity::Unipolar);
    settings.coils[0].heat.backing_limit.0 = 45.0;
    settings.coils[0].heat.backing_to_around.0 = 20.0;
    settings.start = coilscore::budget::Start::Unknown;
    let mut budget = Budget::new(&settings).unwrap();
    let codes = duties(&mut budget, 1.0, 200 * 60);
    let frames = |range: std::ops::Range<f64>| {
        codes
            .iter()
            .filter(|&&code| code > 0 && range.contains(&pull_of(&settings, code, 45.0)))
            .count()
    };
    let (in_vain, lifting) = (frames(0.0..0.6), frames(0.95..9.0));
    println!("{in_vain} of {} frames in vain, {lifting} lifting", codes.len());
    assert!(in_vain < codes.len() / 10, "{in_vain} of {} frames in vain", codes.len());
    assert!(lifting >= 60, "it lifts where rest has cooled it: {lifting}");
    let totals = budget.totals();
    let cuts = totals.cut_heat[0] + totals.cut_rail[0] + totals.cut_driver[0];
    assert!((cuts - (totals.wished[0] - totals.granted[0])).abs() < 1e-6, "{totals:?}");
    assert!(totals.cut_heat[0] > 0.9 * cuts, "{totals:?}");
}

/// Fluid with a height of its own: up at 1 after as long as the stated rise under lifting pull, down
/// again as fast under less than what holds. Whenever wishes ask for it and nothing is cut, it is up
/// in time; whenever they do not, it is down in time.
#[test]
fn fluid_goes_where_wishes_want_it() {
    for (law, polarity, rate) in [
        (HALF, Polarity::Unipolar, 200),
        (NINE, Polarity::SignMagnitude, 200),
        (HALF, Polarity::SignMagnitude, 40),
        (NINE, Polarity::SignMagnitude, 1000),
    ] {
        let mut settings = bench(pull(law, HELD), polarity);
        settings.frame_rate = Rate::new(rate, 1).unwrap();
        settings.coils[0].turn_rest = Seconds(0.001);
        let rise = f64::from(rate) * 0.15;
        for seed in 0..20 {
            let (mut dice, mut budget) = (Dice(seed), Budget::new(&settings).unwrap());
            let (mut wish, mut height, mut since) = (0.0, 0.0_f64, 0);
            for frame in 0..4000 {
                if dice.unit() < 0.01 {
                    wish = dice.one_of(&[0.0, 0.0, 0.35, 1.0]);
                    since = frame;
                }
                let code = budget.permit(&[Share::saturating(wish)])[0].code();
                match pull_of(&settings, code, budget.load().node_c[0]) {
                    q if q >= 1.0 => height = (height + 1.0 / rise).min(1.0),
                    q if q < 0.6 => height = (height - 1.0 / rise).max(0.0),
                    _ => {}
                }
                let what = format!("{law:?}, {rate}/s, seed {seed}, frame {frame}");
                let long = f64::from(frame - since) > rise + 3.0;
                if wish > 0.3 && long {
                    assert!(height > 0.99, "{what}: fell to {height}");
                }
                // On a bridge a pulse of 100 ms takes it two thirds of the way in this tank.
                if wish < 0.01 && long {
                    let most = if law.q0 > 0.6 { 0.34 } else { 1e-9 };
                    assert!(height <= most, "{what}: hangs at {height}");
                }
            }
        }
    }
}

#[test]
fn what_cannot_be_held_is_refused_with_a_cure() {
    let said = |law: PullLaw, polarity, change: fn(&mut PullRange, &mut BudgetSettings)| {
        let mut range = HELD;
        let mut settings = bench(pull(law, HELD), polarity);
        change(&mut range, &mut settings);
        if let Pull::Law(pull) = &mut settings.coils[0].pull {
            pull.range = range;
        }
        Budget::new(&settings).map(|_| String::new()).unwrap_or_else(|error| error.to_string())
    };
    let set = |change: fn(&mut coilscore::budget::PullSettings)| {
        let mut settings = bench(pull(HALF, HELD), Polarity::Unipolar);
        if let Pull::Law(pull) = &mut settings.coils[0].pull {
            change(pull);
        }
        Budget::new(&settings).map(|_| String::new()).unwrap_or_else(|error| error.to_string())
    };
    let (one, two) = (Polarity::Unipolar, Polarity::SignMagnitude);
    let none: fn(&mut PullRange, &mut BudgetSettings) = |_, _| {};
    let lying = PullLaw { q0: 1.2, ..HALF };
    let weak = PullLaw { q0: 0.1, c1: 0.2, c2: 0.3 };
    let dip = PullLaw { q0: 0.9, c1: 0.4, c2: 2.0 };
    let cases = [
        (said(NINE, one, none), "the magnet alone holds lifted fluid"),
        (said(dip, two, none), "not even the most opposing current"),
        (said(lying, two, none), "it lifts the fluid by itself"),
        (said(weak, one, none), "it never lifts the fluid"),
        (said(weak, one, |range, _| *range = PullRange::FromLift), "it never lifts the fluid"),
        (said(HALF, one, |range, _| *range = PullRange::Held { margin: -0.1, at: 0.3 }), "margin"),
        (
            said(HALF, one, |range, _| *range = PullRange::Held { margin: 0.1, at: 0.0 }),
            "lifting wish",
        ),
        (said(HALF, one, |_, s| s.rails[0].volts.0 = f64::NAN), "voltage"),
        (set(|pull| pull.law.c2 = -0.1), "c2 is -0.1"),
        (set(|pull| pull.law.q0 = f64::NAN), "the pull of its magnet is NaN"),
        (set(|pull| pull.full = Amps(0.0)), "its full current (A) is 0"),
        (set(|pull| pull.most_u = 1.5), "its most current is 1.5"),
        (set(|pull| pull.drop_share = 0.0), "its drop share is 0"),
        (set(|pull| pull.freewheel_drop.0 = 12.0), "its diode's drop (V) is 12"),
        (set(|pull| pull.switch_drop.0 = -1.0), "its switch's drop (V) is -1"),
        (set(|pull| pull.rise = Seconds(11.0)), "its rise (s) is 11"),
        (set(|pull| pull.release = Seconds(f64::NAN)), "its release (s) is NaN"),
    ];
    for (said, expected) in cases {
        assert!(said.contains(expected), "{said:?} for {expected:?}");
    }
    assert_eq!(said(HALF, one, none), "");
    assert_eq!(said(NINE, two, none), "");
}
