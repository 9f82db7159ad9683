//! A program that is killed over and over while everything is asked for.

use super::nets::Dice;
use super::world::{FRAMES_PER_S, World, row, span_s};

/// Windings decide in the first, backings in the second.
const LIMITS: [(f64, f64); 2] = [(70.0, 150.0), (120.0, 45.0)];

/// What rounding of the model and of the plant may add, K.
const HAIR_K: f64 = 1e-4;

fn frames(span_s: f64) -> u64 {
    (span_s * f64::from(FRAMES_PER_S)) as u64
}

/// Two hours of full request, ended after 10 s to 30 min each time, mostly by a kill; the machine
/// sometimes restarts too. `meddle` is what happens to file and clock in between.
fn two_hours(limits: (f64, f64), seed: u64, meddle: fn(&mut World, &mut Dice)) -> World {
    let (mut world, mut dice) = (World::new(row(limits.0, limits.1)), Dice(seed));
    let end_s = world.now_s + 7200.0;
    while world.now_s < end_s {
        let killed = dice.unit() < 0.8;
        world.run(frames(span_s(&mut dice, 10.0, 1800.0)), killed);
        let gap_s = dice.one_of(&[0.01, 0.5, 3.0, 8.0, 12.0, 60.0, 300.0]);
        world.rest(gap_s, dice.unit() < 0.3);
        meddle(&mut world, &mut dice);
        let cool_k = world.too_cool_k();
        assert!(cool_k < HAIR_K, "{limits:?} seed {seed}: the model starts {cool_k} K too cool");
    }
    assert!(world.over_k < HAIR_K, "{limits:?} seed {seed}: {} K over", world.over_k);
    world
}

#[test]
fn no_limit_is_passed_however_often_the_program_is_killed() {
    for limits in LIMITS {
        for seed in 0..6 {
            let world = two_hours(limits, seed, |_, _| {});
            // It does reach the bound, or this test would show nothing.
            assert!(world.over_k > -0.5, "{limits:?} seed {seed}: never above {}", world.over_k);
        }
    }
}

#[test]
fn nor_with_a_file_that_is_lost_or_not_to_be_believed() {
    for limits in LIMITS {
        let lost = |world: &mut World, _: &mut Dice| world.file = None;
        two_hours(limits, 100, lost);
        let set_back = |world: &mut World, dice: &mut Dice| {
            world.clock_off_s -= dice.between(0.0, 3600.0);
        };
        two_hours(limits, 101, set_back);
        let set_forward = |world: &mut World, dice: &mut Dice| {
            // Only while the machine runs on can a clock that is set forward be told from time.
            if !world.rebooted && dice.unit() < 0.7 {
                world.clock_off_s += 86_400.0;
            }
        };
        two_hours(limits, 102, set_forward);
        let other = |world: &mut World, _: &mut Dice| {
            let file = world.file.take().unwrap();
            world.file = Some(file.replace("of these tests", "of somebody else"));
        };
        two_hours(limits, 103, other);
        let torn = |world: &mut World, dice: &mut Dice| {
            let mut file = world.file.take().unwrap();
            file.truncate((dice.unit() * (file.len() - 3) as f64) as usize);
            world.file = Some(file);
        };
        two_hours(limits, 104, torn);
    }
}

/// Sooner than the file is written, and sooner than a winding warms.
#[test]
fn nor_when_it_is_killed_before_it_can_say_how_warm_it_is() {
    for limits in LIMITS {
        for span_s in [0.3, 0.7, 1.9, 2.1, 3.9] {
            let mut world = World::new(row(limits.0, limits.1));
            // The display was cold and a run closed in good order: the kindest file there is.
            world.run(0, false);
            for kill in 0..frames(1200.0) / frames(span_s) {
                world.run(frames(span_s), true);
                let cool_k = world.too_cool_k();
                assert!(cool_k < HAIR_K, "{span_s} s, kill {kill}: {cool_k} K too cool");
            }
            assert!(world.over_k < HAIR_K, "{limits:?} {span_s} s: {} K over", world.over_k);
        }
    }
}

/// Safe and dull is not enough: after a rest, the display plays as one that was never stopped.
#[test]
fn a_rest_is_worth_what_the_coils_have_cooled() {
    for limits in LIMITS {
        for (killed, rest_s) in [(false, 600.0), (true, 1800.0), (true, 86_400.0)] {
            let mut world = World::new(row(limits.0, limits.1));
            world.run(frames(1800.0), killed);
            world.rest(rest_s, false);
            let hottest = world.known().unwrap().node_c;
            for (known, plant_c) in hottest.iter().zip(world.plant_c()) {
                let over_k = known.0 - plant_c;
                assert!((-HAIR_K..3.0).contains(&over_k), "{limits:?} {rest_s} s: {over_k} K");
            }
            let before = world.granted;
            world.run(frames(20.0), true);
            let with = world.granted - before;
            world.file = None;
            world.rest(rest_s, false);
            let before = world.granted;
            world.run(frames(20.0), true);
            let without = world.granted - before;
            assert!(with > 1.1 * without, "{limits:?} {rest_s} s: {with} of {without}");
        }
    }
}
