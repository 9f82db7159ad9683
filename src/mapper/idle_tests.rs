//! Idle motion by hand: when it begins and ends, how far it goes.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

use super::*;
use crate::mapper::settings::{Combine, MotionSettings};
use crate::mapper::tests::{place, route, settings, wishes};
use crate::mapper::{Mapper, MapperSettings};
use crate::units::{CoilId, Seconds};

/// A tenth of full, 2 s a swell, at 200 frames a second: 400 frames.
fn idle(wander: bool, coils: u32) -> IdleSettings {
    let coils = (0..coils).map(CoilId).collect();
    IdleSettings { level: 0.1, period_s: Seconds(2.0), wander, coils }
}

/// Four coils and a route that moves them all; half of a level at -20 dBFS; rest at once.
fn resting(idle: IdleSettings) -> MapperSettings {
    let mut all = settings(4, Combine::Max, vec![route(MotionSettings::LevelAll, 1, 4)]);
    all.rest_s = Seconds(0.0);
    all.idle = idle;
    all
}

#[test]
fn without_idle_motion_rest_is_exactly_nothing() {
    let mut mapper = Mapper::new(&resting(IdleSettings::NONE)).unwrap();
    for _ in 0..2000 {
        assert_eq!(wishes(&mut mapper, &[-20.0], true), [0.0; 4]);
    }
    let mut still = idle(true, 4);
    still.level = 0.0;
    let mut mapper = Mapper::new(&resting(still)).unwrap();
    assert_eq!(wishes(&mut mapper, &[-20.0], true), [0.0; 4]);
}

/// Frame 100 is a quarter of a period: gain 1/4, swell 1/2. Frame 200: gain 1/2, swell 1. Frame 400:
/// swell 0. From there on the gain is 1: frame 500 gives half, frame 600 all of the level.
#[test]
fn it_grows_over_a_period_and_ends_at_once() {
    let mut mapper = Mapper::new(&resting(idle(false, 3))).unwrap();
    let by_hand = [(100, 0.0125), (200, 0.05), (300, 0.0375), (400, 0.0), (500, 0.05), (600, 0.1)];
    let trace: Vec<_> = (0..600).map(|_| wishes(&mut mapper, &[-20.0], true)).collect();
    for (frame, wish) in by_hand {
        let got = &trace[frame - 1];
        assert!((got[0] - wish).abs() < 1e-9, "frame {frame}: {got:?}, by hand {wish}");
        assert_eq!((got[1], got[2], got[3]), (got[0], got[0], 0.0), "alike, and only its group");
    }
    assert_eq!(wishes(&mut mapper, &[-20.0], false), [0.5; 4], "sound ends it at once");
    // Frame 602: the swell goes on where it was, and grows from nothing again.
    let expected = 0.1 / 400.0 * swell(602.0 / 400.0);
    assert!((wishes(&mut mapper, &[-20.0], true)[0] - expected).abs() < 1e-12);
}

#[test]
fn it_waits_until_all_is_at_rest() {
    let mut all = resting(idle(false, 4));
    all.rest_s = Seconds(0.1);
    let mut mapper = Mapper::new(&all).unwrap();
    for frame in 1..1000 {
        let got = wishes(&mut mapper, &[-20.0], true)[0];
        let resting = mapper.rest_gain() <= 0.0;
        // ln(1000) = 6.9 time constants of 20 frames.
        assert_eq!(resting, frame >= 139, "frame {frame}");
        let fading = 0.5 * mapper.rest_gain();
        assert!(resting || (got - fading).abs() < 1e-12, "the fade is left alone: {got}");
    }
}

/// Four coils in a row, 0 to 1 across in thirds, all level upwards: in frame 1000 the swell across is
/// at 2.5 periods less the place, the other at 2.5/1.618 = 1.5451 periods.
#[test]
fn a_wandering_swell_goes_over_the_coils() {
    let mut mapper = Mapper::new(&resting(idle(true, 4))).unwrap();
    let last = (0..1000).map(|_| wishes(&mut mapper, &[-20.0], true)).last().unwrap();
    // (1 - cos(2 pi * 1.5451))/2 = 0.98007; across: 1, 1/4, 1/4, 1.
    for (coil, across) in [1.0, 0.25, 0.25, 1.0].into_iter().enumerate() {
        assert!((last[coil] - 0.1 * 0.98007 * across).abs() < 1e-6, "{last:?}");
    }
}

#[test]
fn it_never_exceeds_its_level_and_obeys_trim_and_master() {
    let mut all = resting(idle(true, 4));
    all.places = vec![place(0.0, 0.0), place(3.0, 40.0), place(50.0, -7.0), place(9.0, 9.0)];
    all.trims = vec![1.0, 0.5, 0.0, 1.0];
    all.master = 0.5;
    let mut mapper = Mapper::new(&all).unwrap();
    let mut highest = [0.0_f64; 4];
    for _ in 0..20_000 {
        for (highest, wish) in highest.iter_mut().zip(wishes(&mut mapper, &[-20.0], true)) {
            assert!(wish >= 0.0);
            *highest = highest.max(wish);
        }
    }
    assert!(highest[0] <= 0.05 && highest[0] > 0.045, "{highest:?}");
    assert!(highest[1] <= 0.025 && highest[1] > 0.02, "{highest:?}");
    assert_eq!(highest[2], 0.0);
}

#[test]
fn what_is_not_idle_is_refused() {
    let refusal = |change: &dyn Fn(&mut IdleSettings)| {
        let mut it = idle(true, 4);
        change(&mut it);
        Mapper::new(&resting(it)).unwrap_err().to_string()
    };
    for (sentence, part) in [
        (refusal(&|it| it.level = 0.31), "idle: level is 0.31; it must be from 0 to 0.3"),
        (refusal(&|it| it.period_s.0 = 0.5), "idle: period_s is 0.5 s; it must be from 1 to 600 s"),
        (refusal(&|it| it.coils.push(CoilId(4))), "idle: it moves coil 4"),
        (refusal(&|it| it.coils.push(CoilId(3))), "idle: it names coil 3 twice"),
    ] {
        assert!(sentence.contains(part), "{sentence}");
    }
}
