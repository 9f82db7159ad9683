//! Ramp, rise, rest between signs and shortest pulse: what they promise, for any wishes.

use coilscore::budget::{Budget, BudgetSettings, CoilBudget, Polarity, Start};
use coilscore::coil::pwm::heat_share;
use coilscore::units::{Amps, Rate, Seconds, Share};
use proptest::prelude::*;

use super::nets::{display, worked_coil};

/// Three bridges on one rail, cold, far from any heat limit in the second or so of a test; a coil
/// takes 12 V over 10 ohm at 20 C, 1.2491 A at the 10 C for which supplies are reckoned.
fn bridges(rate_hz: u32) -> BudgetSettings {
    let coil =
        CoilBudget { polarity: Polarity::SignMagnitude, steps: 1000, ..worked_coil(90.0, 60.0) };
    display(rate_hz, vec![coil; 3])
}

fn full_a() -> f64 {
    12.0 / (10.0 * (234.5 + 10.0) / (234.5 + 20.0))
}

/// Codes and the rail's current per frame.
fn run(settings: &BudgetSettings, wishes: &[Vec<f64>]) -> Vec<(Vec<i32>, f64)> {
    let mut budget = Budget::new(settings).unwrap();
    let mut frames = Vec::with_capacity(wishes.len());
    for wish in wishes {
        let shares: Vec<Share> = wish.iter().map(|&wish| Share::saturating(wish)).collect();
        let codes: Vec<i32> = budget.permit(&shares).iter().map(|duty| duty.code()).collect();
        frames.push((codes, budget.load().rail_a[0]));
    }
    frames
}

/// Wishes that jump, stay, turn and vanish.
fn any_wishes() -> impl Strategy<Value = Vec<Vec<f64>>> {
    let wish = prop_oneof![
        3 => Just(1.0), 3 => Just(-1.0), 2 => Just(0.0), 1 => Just(1e-3), 3 => -1.0..1.0_f64
    ];
    let stretch = (prop::collection::vec(wish, 3), 1..30_usize);
    prop::collection::vec(stretch, 1..20).prop_map(|stretches| {
        stretches.into_iter().flat_map(|(wish, frames)| vec![wish; frames]).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_rail_starts_no_faster_than_its_ramp(
        wishes in any_wishes(), ramp_ms in 1..2000_u32, rate in 20..1000_u32, limit in 0.5..6.0_f64,
    ) {
        let mut settings = bridges(rate);
        settings.rails[0].ramp = Seconds(f64::from(ramp_ms) / 1e3);
        settings.rails[0].limit = Amps(limit);
        let top_a = limit.min(3.0 * full_a());
        for (frame, (_, amps)) in run(&settings, &wishes).iter().enumerate() {
            let share = frame as f64 * 1e3 / f64::from(rate) / f64::from(ramp_ms);
            prop_assert!(*amps <= top_a * share.min(1.0) + 1e-9, "frame {frame}: {amps} A");
        }
    }

    #[test]
    fn current_rises_no_faster_than_its_limit_and_falls_at_once(
        wishes in any_wishes(), slew in 0.5..500.0_f64, rate in 20..1000_u32,
    ) {
        let mut settings = bridges(rate);
        settings.rails[0].slew_a_per_s = slew;
        settings.coils.iter_mut().for_each(|coil| coil.turn_rest = Seconds(0.0));
        let frames = run(&settings, &wishes);
        // The level that is followed, worked out apart from the limiter: slow PWM takes duty times
        // full current, and nothing else is short.
        let step_a = slew / f64::from(rate);
        let mut level_a = 0.0_f64;
        for (frame, (wish, (_, amps))) in wishes.iter().zip(&frames).enumerate() {
            let steps = |wish: &f64| (wish.abs() * 1000.0 + 1e-9).floor() / 1000.0;
            let asked_a: f64 = wish.iter().map(|w| heat_share(steps(w), f64::INFINITY) * full_a()).sum();
            level_a = asked_a.min(level_a + step_a);
            prop_assert!(*amps <= level_a + 1e-9, "frame {frame}: {amps} A over {level_a} A");
            // Three coils round down by less than a step each: no more than that is missing.
            let least = level_a - 3.0 * 1.001 * full_a() / 1000.0;
            prop_assert!(*amps >= least - 1e-9, "frame {frame}: {amps} A, {level_a} A were free");
        }
    }

    #[test]
    fn a_bridge_rests_before_it_turns_and_only_then(
        wishes in any_wishes(), rest_ms in 0..40_u32, rate in 20..1000_u32,
    ) {
        let mut settings = bridges(rate);
        settings.coils.iter_mut().for_each(|coil| {
            coil.turn_rest = Seconds(f64::from(rest_ms) / 1e3);
        });
        let rest = u64::from(rest_ms * rate).div_ceil(1000);
        let frames = run(&settings, &wishes);
        for coil in 0..3 {
            let mut last: Option<(u64, i32)> = None;
            for (frame, (codes, _)) in (0_u64..).zip(&frames) {
                let (code, wish) = (codes[coil], wishes[frame as usize][coil]);
                let asked = (wish.abs() * 1000.0 + 1e-9).floor() as i32;
                let held = last.is_some_and(|(then, sign)| {
                    f64::from(sign) * wish < 0.0 && frame - then - 1 < rest
                });
                // Nothing else is short here, so whatever may be sent is sent.
                let expected = if held { 0 } else { asked * wish.signum() as i32 };
                prop_assert_eq!(code, expected, "coil {} frame {}", coil, frame);
                if code != 0 {
                    last = Some((frame, code.signum()));
                }
            }
        }
    }

    #[test]
    fn no_pulse_is_shorter_than_the_driver_makes_and_every_cut_has_a_name(
        wishes in any_wishes(), least in 0.0..0.3_f64, limit in 0.3..3.0_f64, slew in 1.0..100.0_f64,
    ) {
        let mut settings = bridges(200);
        settings.coils.iter_mut().for_each(|coil| {
            coil.least_duty = least;
            coil.turn_rest = Seconds(0.005);
        });
        settings.coils[2].polarity = Polarity::Unipolar;
        settings.rails[0].limit = Amps(limit);
        settings.rails[0].slew_a_per_s = slew;
        settings.start = Start::Unknown;
        let mut budget = Budget::new(&settings).unwrap();
        for wish in &wishes {
            let shares: Vec<Share> = wish.iter().map(|&wish| Share::saturating(wish)).collect();
            for duty in budget.permit(&shares) {
                let size = f64::from(duty.code().abs()) / 1000.0;
                prop_assert!(size == 0.0 || size >= least - 1e-9, "{size} below {least}");
            }
        }
        let totals = budget.totals();
        for coil in 0..3 {
            let cuts = totals.cut_heat[coil] + totals.cut_rail[coil] + totals.cut_driver[coil];
            let missing = totals.wished[coil] - totals.granted[coil];
            prop_assert!((cuts - missing).abs() < 1e-6, "{cuts} named of {missing}");
        }
    }
}

#[test]
fn each_cut_is_counted_where_it_belongs() {
    let cuts = |settings: &BudgetSettings, wishes: &[f64]| {
        let mut budget = Budget::new(settings).unwrap();
        for &wish in wishes {
            budget.permit(&[Share::saturating(wish)]);
        }
        let totals = budget.totals();
        (totals.cut_heat[0], totals.cut_rail[0], totals.cut_driver[0])
    };
    let near = |a: (f64, f64, f64), b: (f64, f64, f64)| {
        assert!((a.0 - b.0).abs() + (a.1 - b.1).abs() + (a.2 - b.2).abs() < 1e-9, "{a:?} {b:?}");
    };
    // A turn: one frame of 5 ms at 200 frames a second is the driver's.
    let mut settings = bridges(200);
    settings.coils[0].turn_rest = Seconds(0.005);
    near(cuts(&settings, &[1.0, -0.75, -0.75]), (0.0, 0.0, 0.75));
    // A pulse of 0.1 on a driver that starts at 0.2 is the driver's.
    let mut settings = bridges(200);
    settings.coils[0].least_duty = 0.2;
    near(cuts(&settings, &[0.1, 0.2]), (0.0, 0.0, 0.1));
    // A ramp of 20 ms lets in 0, 1/4, 2/4 and 3/4 of what three coils take: as one coil alone is
    // wished, 0, 3/4 and then all of it. Missing: 1 and 1/4, the rail's.
    let mut settings = bridges(200);
    settings.rails[0].ramp = Seconds(0.020);
    near(cuts(&settings, &[1.0, 1.0, 1.0, 1.0]), (0.0, 1.25, 0.0));
}

#[test]
fn a_rise_of_less_than_a_step_a_frame_still_gets_there() {
    // 7 steps of 1.2491 A / 7 = 0.178 A each; 0.5 A/s at 1000 frames a second is 0.0005 A a frame.
    let mut settings = bridges(1000);
    settings.frame_rate = Rate::new(1000, 1).unwrap();
    settings.coils.truncate(1);
    settings.coils[0].steps = 7;
    settings.rails[0].slew_a_per_s = 0.5;
    let frames = run(&settings, &vec![vec![1.0]; 2600]);
    let first = frames.iter().position(|(codes, _)| codes[0] == 1).unwrap();
    // 0.17844 A / 0.0005 A = 356.9: the 357th frame, number 356.
    assert_eq!(first, 356);
    // 1.24908 A / 0.0005 A = 2498.2: all of it from the 2499th frame on.
    assert_eq!((frames[2497].0[0], frames[2498].0[0]), (6, 7));
}
