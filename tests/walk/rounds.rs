//! Tour and lift as state machines.

use coilscore::run::walk::{Action, LiftRound, Mark, Next, Reading, Round, Said, Seen, Tour};

/// Runs a round at 50 frames a second with whoever answers what was driven.
fn run(
    round: &mut dyn Round,
    frames: u32,
    mut person: impl FnMut(f64, Next) -> Option<Action>,
) -> (Vec<Said>, Vec<Next>) {
    let (mut said, mut done, mut next) = (Vec::new(), Vec::new(), Next::Rest(0));
    for frame in 0..frames {
        let now_s = f64::from(frame) / 50.0;
        let granted = match next {
            Next::Drive(_, share) => share.get(),
            _ => 0.0,
        };
        let action = person(now_s, next);
        let reading = Reading::default();
        let seen = Seen { now_s, action, granted, coil_c: &[], reading };
        next = round.step(&seen, &mut |what| said.push(what));
        done.push(next);
        if next == Next::Done {
            break;
        }
    }
    (said, done)
}

fn turns(said: &[Said]) -> Vec<usize> {
    let turn = |said: &Said| match said {
        Said::Turn { coil, .. } => Some(*coil),
        _ => None,
    };
    said.iter().filter_map(turn).collect()
}

#[test]
fn a_timed_tour_pulses_every_coil_once_and_rests_between() {
    let mut tour = Tour::new(4, 0.5, true);
    let (said, frames) = run(&mut tour, 1000, |_, _| None);
    assert_eq!(turns(&said), [0, 1, 2, 3]);
    assert_eq!(frames.last(), Some(&Next::Done));
    for coil in 0..4 {
        let driven = frames.iter().filter(|f| matches!(f, Next::Drive(c, _) if *c == coil)).count();
        assert!((24..=26).contains(&driven), "coil {coil}: {driven} frames of 0.5 s at 50/s");
    }
    assert!(frames.windows(2).all(|two| match two {
        [Next::Drive(a, _), Next::Drive(b, _)] => a == b,
        _ => true,
    }));
}

#[test]
fn a_tour_waits_pulses_again_and_goes_where_it_is_told() {
    let mut tour = Tour::new(3, 0.09, false);
    let keys = [
        Action::Next,
        Action::Back,
        Action::Back,
        Action::Repeat,
        Action::Stronger,
        Action::Weaker,
        Action::Next,
        Action::Next,
        Action::Next,
    ];
    let mut keys = keys.iter();
    // A key every second: each pulse is long over.
    let (said, frames) = run(&mut tour, 10_000, |now_s, _| {
        (now_s > 0.0 && now_s.fract() == 0.0).then(|| keys.next().copied()).flatten()
    });
    assert_eq!(turns(&said), [0, 1, 0, 0, 0, 0, 0, 1, 2]);
    let strengths: Vec<f64> = said
        .iter()
        .filter_map(|said| match said {
            Said::Strength(share) => Some(*share),
            _ => None,
        })
        .collect();
    assert_eq!(strengths, [0.5, 0.4]);
    let on = frames.iter().filter(|next| matches!(next, Next::Drive(..))).count();
    assert_eq!(on, 9 * 5, "nine pulses of 0.09 s at 50/s");
    assert_eq!((tour.seen(), frames.last()), (3, Some(&Next::Done)));
}

#[test]
fn marks_are_kept_and_a_short_is_switched_off_at_once() {
    let mut tour = Tour::new(24, 100.0, false);
    let keys = [
        (1, Action::Dead),
        (2, Action::Next),
        (3, Action::Shorted),
        (5, Action::Next),
        (6, Action::Digit(1)),
        (7, Action::Digit(9)),
        (8, Action::Swapped),
        (9, Action::Next),
        (10, Action::Dead),
        (11, Action::Unmark),
        (12, Action::Next),
        (13, Action::Swapped),
        (14, Action::Stop),
    ];
    let (_, frames) = run(&mut tour, 1000, |now_s, _| {
        keys.iter().find(|(at, _)| (now_s - f64::from(*at)).abs() < 1e-9).map(|(_, key)| *key)
    });
    let marks = tour.marks();
    assert_eq!(marks[0], Some(Mark::Dead));
    assert_eq!(marks[1], Some(Mark::Shorted));
    assert_eq!(marks[2], Some(Mark::Swapped(Some(19))));
    assert_eq!(marks[3], None);
    assert_eq!(marks[4], Some(Mark::Swapped(None)));
    assert_eq!(frames.last(), Some(&Next::Done));
    assert_eq!(frames[149], frames[101], "coil 1 is driven until its mark at 3 s");
    assert_eq!(frames[150..250], vec![Next::Rest(1); 100]);
}

/// Fluid that lifts and drops at duties of its own, and someone who sees it `late_s` later.
fn lifted(ramp_s: f64, late_s: f64, at: &[(f64, f64)]) -> LiftRound {
    let mut round = LiftRound::new(at.len(), ramp_s);
    let (mut up, mut coil, mut press_s) = (false, usize::MAX, None);
    run(&mut round, 50_000, |now_s, next| {
        if let Next::Drive(now, share) = next {
            if now != coil {
                (coil, up, press_s) = (now, false, None);
            }
            let (lift, drop) = at[coil];
            let moves = if up { share.get() <= drop } else { share.get() >= lift };
            if moves {
                up = !up;
                press_s = Some(now_s + late_s);
            }
        }
        press_s.take_if(|at_s| now_s >= *at_s).map(|_| Action::Now)
    });
    round
}

#[test]
fn lift_and_drop_are_found_within_what_the_hand_is_late() {
    let at = [(0.288, 0.064), (0.5, 0.2), (0.9, 0.88)];
    for (ramp_s, late_s) in [(20.0, 0.0), (20.0, 0.2), (60.0, 0.3)] {
        let round = lifted(ramp_s, late_s, &at);
        let late = (late_s + 0.041) / ramp_s;
        for (coil, (lift, drop)) in at.into_iter().enumerate() {
            let (seen, fell) = (round.lift_duty()[coil].unwrap(), round.drop_duty()[coil].unwrap());
            assert!((0.0..=late).contains(&(seen - lift)), "coil {coil}: {seen} for {lift}");
            assert!((-1e-9..=late).contains(&(drop - fell)), "coil {coil}: {fell} for {drop}");
        }
    }
}

#[test]
fn what_nobody_saw_is_not_made_up() {
    // The first never lifts, the second never drops.
    let round = lifted(5.0, 0.0, &[(2.0, 0.0), (0.3, -1.0), (0.3, 0.1)]);
    assert_eq!(round.lift_duty()[0], None);
    assert!(round.lift_duty()[1].is_some());
    assert_eq!((round.drop_duty()[0], round.drop_duty()[1]), (None, None));
    assert!(round.drop_duty()[2].is_some());
    // Keys before anything is driven count for nothing.
    let mut round = LiftRound::new(1, 5.0);
    let (said, _) = run(&mut round, 45, |_, _| Some(Action::Now));
    assert_eq!((round.lift_duty(), said.len()), ([None].as_slice(), 1));
}

#[test]
fn what_is_recorded_is_what_was_granted_and_not_what_was_wished() {
    let mut round = LiftRound::new(1, 10.0);
    let mut said = Vec::new();
    for frame in 0..400_u32 {
        let now_s = f64::from(frame) / 50.0;
        // The budget allows a quarter; the fluid lifts at 6 s of the ramp.
        let action = (frame == 350).then_some(Action::Now);
        let granted = ((now_s - 1.0) / 10.0).clamp(0.0, 0.25);
        let seen = Seen { now_s, action, granted, coil_c: &[], reading: Reading::default() };
        round.step(&seen, &mut |what| said.push(what));
    }
    assert_eq!(round.lift_duty(), [Some(0.25)]);
    let held = |said: &&Said| matches!(said, Said::HeldBack { coil: 0, granted: 0.25 });
    assert_eq!(said.iter().filter(held).count(), 1, "{said:?}");
    // And it goes down from there, not from the wish.
    let seen =
        Seen { now_s: 8.0, action: None, granted: 0.25, coil_c: &[], reading: Reading::default() };
    let Next::Drive(0, share) = round.step(&seen, &mut |_| {}) else { panic!("not driven") };
    assert!(share.get() < 0.25, "{share:?}");
}

#[test]
fn no_keys_make_a_round_wish_for_two_coils_or_panic() {
    let all = [
        Action::Next,
        Action::Back,
        Action::Repeat,
        Action::Stronger,
        Action::Weaker,
        Action::Now,
        Action::Digit(9),
        Action::Dead,
        Action::Shorted,
        Action::Swapped,
        Action::Unmark,
    ];
    for seed in 0..200_u32 {
        let mut state = seed;
        let mut dice = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 16) as usize
        };
        let rounds: [Box<dyn Round>; 3] = [
            Box::new(Tour::new(3, 0.1, seed % 2 == 0)),
            Box::new(LiftRound::new(3, 1.0)),
            Box::new(Tour::new(0, 1.0, false)),
        ];
        for mut round in rounds {
            let (_, frames) =
                run(&mut *round, 500, |_, _| (dice() % 4 == 0).then(|| all[dice() % all.len()]));
            for next in frames {
                if let Next::Drive(coil, share) = next {
                    assert!(coil < 3 && (0.0..=1.0).contains(&share.get()));
                }
            }
        }
    }
}
