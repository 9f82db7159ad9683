//! Resistances through a board that reports its supply, as a state machine.

use coilscore::run::walk::{
    Action, MeasureRound, Measured, Next, Probe, Reading, Round, Said, Seen, Verdict,
};
use coilscore::units::{Celsius, Ohms};

/// A board whose supply current follows the coil that is driven: V D / R, by Ohm's law and slow
/// PWM. It reports ten times a second, in steps of 10 mA and 10 mV, and 0.2 s late.
struct Bench {
    ohms: Vec<f64>,
    idle_a: f64,
    supply_v: f64,
    /// Most duty that is granted.
    most: f64,
    room_c: f64,
    coil_c: f64,
    reports: bool,
}

fn bench(ohms: Vec<f64>) -> Bench {
    Bench {
        ohms,
        idle_a: 0.0,
        supply_v: 12.0,
        most: 1.0,
        room_c: 20.0,
        coil_c: 20.0,
        reports: true,
    }
}

/// The 15 ohm coil at 20 C, its wire and its switch.
fn probe() -> Probe {
    Probe {
        resistance: Ohms(15.0),
        reference: Celsius(20.0),
        leads: Ohms(0.0),
        switch_drop_v: 0.0,
        period_over_tau: f64::INFINITY,
    }
}

fn measure(bench: &Bench, probe: Probe) -> (Vec<Measured>, Vec<&'static str>, Vec<f64>) {
    let mut round = MeasureRound::new(vec![probe; bench.ohms.len()], bench.room_c);
    let coil_c = vec![bench.coil_c; bench.ohms.len()];
    let (mut next, mut most) = (Next::Rest(0), vec![0.0_f64; bench.ohms.len()]);
    let (mut measured, mut refused) = (Vec::new(), Vec::new());
    let (mut reading, mut granted, mut past) = (Reading::default(), 0.0, [0.0; 10]);
    for frame in 0..50_000_u32 {
        granted = match next {
            Next::Drive(coil, share) => {
                most[coil] = most[coil].max(share.get());
                share.get().min(bench.most)
            }
            _ => 0.0,
        };
        let drawn = match next {
            Next::Drive(coil, _) => granted * bench.supply_v / bench.ohms[coil],
            _ => 0.0,
        };
        // What is reported was measured 0.2 s ago, as by a filter.
        past.rotate_left(1);
        let drawn = std::mem::replace(&mut past[0], drawn);
        if frame % 5 == 0 && bench.reports {
            let steps = |value: f64| Some((value * 100.0).round() / 100.0);
            reading = Reading {
                count: reading.count + 1,
                supply_v: steps(bench.supply_v),
                supply_a: steps(bench.idle_a + drawn),
                held: false,
            };
        }
        let now_s = f64::from(frame) / 50.0;
        let seen = Seen { now_s, action: None, granted, coil_c: &coil_c, reading };
        next = round.step(&seen, &mut |said| match said {
            Said::Measured(one) => measured.push(one),
            Said::Refused(why) => refused.push(why),
            _ => {}
        });
        if next == Next::Done {
            break;
        }
    }
    assert_eq!(next, Next::Done, "it does not end; {granted}");
    (measured, refused, most)
}

fn verdicts(measured: &[Measured]) -> Vec<(usize, Verdict)> {
    let odd = measured.iter().filter(|one| one.verdict != Verdict::Good);
    odd.map(|one| (one.coil, one.verdict)).collect()
}

#[test]
fn in_a_ring_of_24_the_open_the_shorted_and_the_drifting_are_found() {
    let mut ohms: Vec<f64> =
        (0..24).map(|n| 15.0 * (1.0 + 0.003 * (f64::from(n) - 12.0))).collect();
    (ohms[5], ohms[11], ohms[17], ohms[20]) = (f64::INFINITY, 0.3, 18.0, 12.5);
    for idle_a in [0.0, 0.07] {
        let (measured, refused, most) = measure(&Bench { idle_a, ..bench(ohms.clone()) }, probe());
        assert_eq!((measured.len(), refused.len()), (24, 0));
        assert_eq!(
            verdicts(&measured),
            [
                (5, Verdict::Open),
                (11, Verdict::Shorted),
                (17, Verdict::Drifting),
                (20, Verdict::Drifting)
            ]
        );
        for one in measured.iter().filter(|one| one.coil != 5 && one.coil != 11) {
            // 10 mA of 0.8 A, twice.
            assert!((one.ohms / ohms[one.coil] - 1.0).abs() < 0.02, "{one:?}");
        }
        assert!(most[11] <= 0.15, "a short is never driven in full: {}", most[11]);
        assert_eq!(most[0], 1.0);
    }
}

/// The resistance-rise method (IEC 60034-1 as quoted by others): copper of 15 ohm at 20 C has
/// 15 (234.5 + 70) / (234.5 + 20) = 17.947 ohm at 70 C. Warm is not drifting.
#[test]
fn a_warm_coil_is_compared_with_warm_copper() {
    let warm = 15.0 * 304.5 / 254.5;
    let (measured, ..) =
        measure(&Bench { room_c: 70.0, coil_c: 70.0, ..bench(vec![warm]) }, probe());
    assert_eq!(verdicts(&measured), []);
    assert!((measured[0].expected_ohms[1] - 17.947).abs() < 0.001);
    let (measured, ..) =
        measure(&Bench { room_c: 70.0, coil_c: 70.0, ..bench(vec![15.0]) }, probe());
    assert_eq!(verdicts(&measured), [(0, Verdict::Drifting)]);
}

/// A model that only knows "no warmer than 70 C" holds nothing against a coil in between.
#[test]
fn a_model_that_may_be_too_warm_is_a_range() {
    for (ohms, verdict) in [
        (13.0, Verdict::Drifting),
        (14.0, Verdict::Good),
        (16.5, Verdict::Good),
        (19.5, Verdict::Good),
        (20.5, Verdict::Drifting),
        (7.0, Verdict::Shorted),
    ] {
        let (measured, ..) = measure(&Bench { coil_c: 70.0, ..bench(vec![ohms]) }, probe());
        assert_eq!(measured[0].verdict, verdict, "{ohms}: {:?}", measured[0]);
    }
}

/// 14 ohm of winding, 1 ohm of wire and 0.2 V in the switch draw 11.8 V / 15 ohm.
#[test]
fn wire_and_switch_are_taken_off() {
    let probe = Probe { resistance: Ohms(14.0), leads: Ohms(1.0), switch_drop_v: 0.2, ..probe() };
    let seen_from_outside = 12.0 / (11.8 / 15.0);
    let (measured, ..) = measure(&bench(vec![seen_from_outside]), probe);
    assert_eq!(verdicts(&measured), []);
    assert!((measured[0].ohms - 14.0).abs() < 0.25, "{:?}", measured[0]);
    assert_eq!(measured[0].expected_ohms, [14.0; 2]);
}

#[test]
fn less_than_full_duty_will_do_and_what_the_board_cannot_tell_is_not_held_against_a_coil() {
    let (measured, ..) =
        measure(&Bench { most: 0.4, ..bench(vec![15.0, 19.0, f64::INFINITY]) }, probe());
    assert_eq!(verdicts(&measured), [(1, Verdict::Drifting), (2, Verdict::Open)]);
    assert!((measured[0].duty - 0.4).abs() < 1e-9);
    // 0.05 A in steps of 0.01 A: a third more or less cannot be told from nothing amiss.
    let (measured, ..) = measure(&Bench { most: 0.0625, ..bench(vec![15.0, 19.0]) }, probe());
    assert_eq!(verdicts(&measured), []);
}

#[test]
fn a_board_that_does_not_report_is_refused_at_once() {
    let (measured, refused, _) =
        measure(&Bench { reports: false, ..bench(vec![15.0; 3]) }, probe());
    assert_eq!((measured.len(), refused.len()), (0, 1));
    assert!(refused[0].contains("does not report"), "{refused:?}");
    let mut round = MeasureRound::new(vec![probe(); 3], 20.0);
    let reading = Reading { count: 1, supply_v: Some(12.0), ..Reading::default() };
    let seen = Seen { now_s: 0.1, action: None, granted: 0.0, coil_c: &[20.0; 3], reading };
    assert_eq!(round.step(&seen, &mut |_| {}), Next::Done);
    let mut round = MeasureRound::new(vec![probe(); 3], 20.0);
    let seen = Seen { action: Some(Action::Stop), reading: Reading::default(), ..seen };
    assert_eq!(round.step(&seen, &mut |_| {}), Next::Done);
}
