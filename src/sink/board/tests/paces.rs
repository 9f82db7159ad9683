//! Frames at their times, whatever clocks and blocks do.

use proptest::prelude::*;

use super::super::pacer::Pacer;
use crate::units::Rate;

const RATE_HZ: f64 = 200.0;

fn rate() -> Rate {
    Rate::new(200, 1).unwrap()
}

/// When each frame of `frames` arrives: in blocks, as a sound card with its own clock hands them
/// on, each somewhat late.
fn arrivals(frames: u32, per_block: u32, drift: f64, late_s: impl Fn(u32) -> f64) -> Vec<f64> {
    let block_end = |n: u32| f64::from((n / per_block + 1) * per_block) / RATE_HZ;
    (0..frames).map(|n| 5.0 + block_end(n) * (1.0 + drift) + late_s(n / per_block)).collect()
}

#[test]
fn frames_of_a_block_are_spread_until_the_next_comes() {
    for told in [Some(0.05), None] {
        let mut pacer = Pacer::new(rate(), told, 0.02);
        let at_s = arrivals(1000, 10, 0.0, |_| 0.0);
        let mut before = 0.0;
        for block in 0..100 {
            let numbers = block * 10..block * 10 + 10;
            numbers.clone().for_each(|n| pacer.arrived(n, at_s[n as usize]));
            for number in numbers {
                let due_s = pacer.due_s(number).unwrap();
                assert!(
                    due_s >= at_s[number as usize] - 1e-9,
                    "{number} is due before it is there"
                );
                // Learned after the first block.
                if block > 0 {
                    assert!((due_s - before - 0.005).abs() < 1e-9, "{told:?} {number}");
                    assert!(due_s - at_s[number as usize] <= 0.05 + 1e-9, "one block late at most");
                }
                before = due_s;
            }
        }
    }
}

#[test]
fn an_hour_of_drifting_clocks_makes_no_frame_late() {
    for drift in [-3e-4, 3e-4] {
        let mut pacer = Pacer::new(rate(), Some(0.05), 0.02);
        let frames = 3600 * 200;
        for (number, at_s) in (0..).zip(arrivals(frames, 10, drift, |_| 0.0)) {
            pacer.arrived(number, at_s);
            let due_s = pacer.due_s(number).unwrap();
            let waits_s = due_s - at_s;
            // The oldest of a block is due at once, the newest a block later.
            assert!((-0.001..0.051).contains(&waits_s), "{number}: {waits_s}");
        }
    }
}

#[test]
fn a_pause_makes_no_frame_late_and_a_burst_after_it_is_skipped_but_for_its_end() {
    let mut pacer = Pacer::new(rate(), Some(0.0), 0.021);
    let own_s = |number: u32| f64::from(number) / RATE_HZ;
    for number in 0..400 {
        pacer.arrived(number, own_s(number));
    }
    // Numbers go on where they were, 3 s later: those frames are what there is now.
    for number in 400..800 {
        let at_s = 3.0 + own_s(number);
        pacer.arrived(number, at_s);
        assert!(!pacer.is_stale(number, at_s), "{number}");
    }
    // The engine was held up for 0.3 s and hands over 60 frames at once.
    let now_s = 3.0 + own_s(860);
    (800..860).for_each(|number| pacer.arrived(number, now_s));
    let fresh: Vec<u32> = (800..860).filter(|number| !pacer.is_stale(*number, now_s)).collect();
    assert_eq!(fresh, (855..860).collect::<Vec<_>>(), "21 ms may be late, the rest is stale");
    // Numbers that begin anew, too.
    pacer.arrived(0, now_s + 1.0);
    assert!(!pacer.is_stale(0, now_s + 1.0));
}

proptest! {
    #[test]
    fn late_blocks_do_not_shift_the_time_of_frames(
        lates in proptest::collection::vec(0.0..0.015_f64, 100),
    ) {
        // Blocks come up to 15 ms late, some on time: due times stay on the frames' own grid.
        let mut pacer = Pacer::new(rate(), Some(0.05), 0.02);
        let late_s = |block: u32| if block.is_multiple_of(20) { 0.0 } else { lates[block as usize] };
        let at_s = arrivals(1000, 10, 0.0, late_s);
        for block in 0..100_u32 {
            let numbers = block * 10..block * 10 + 10;
            numbers.clone().for_each(|number| pacer.arrived(number, at_s[number as usize]));
            for number in numbers {
                let ideal_s = 5.0 + f64::from(number + 1) / RATE_HZ + 0.05;
                let off_s = pacer.due_s(number).unwrap() - ideal_s;
                prop_assert!(off_s.abs() < 0.001, "{} {}", number, off_s);
            }
        }
    }
}
