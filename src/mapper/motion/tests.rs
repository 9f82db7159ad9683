//! Motions on places where the answer is known by hand.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

use super::*;
use crate::mapper::tests::{place, route};
use crate::units::Millimetres;

/// Five coils from left to right, 10 mm apart.
fn line() -> Vec<Place> {
    (0..5).map(|i| place(10.0 * f64::from(i), 3.0)).collect()
}

/// Eight coils on a circle of 50 mm, counter-clockwise from the right.
fn ring() -> Vec<Place> {
    let at = |i: u32| (f64::from(i) * 45.0).to_radians();
    (0..8).map(|i| place(50.0 * libm::cos(at(i)), 50.0 * libm::sin(at(i)))).collect()
}

fn column(towards_deg: f64, edge_mm: f64) -> MotionSettings {
    MotionSettings::Column { towards_deg, edge_mm: Millimetres(edge_mm) }
}

/// What a motion over all coils asks of each.
fn asked(motion: MotionSettings, places: &[Place], values: &[f64]) -> Vec<f64> {
    let route = route(motion, values.len(), places.len());
    let mut spread = Spread::new(&route, places, Rate::new(200, 1).unwrap()).unwrap();
    let mut asked = vec![0.0; places.len()];
    spread.follow(values);
    spread.ask(values, &mut |coil, share| asked[coil] = share);
    asked
}

fn assert_near(got: &[f64], by_hand: &[f64], what: &str) {
    assert_eq!(got.len(), by_hand.len());
    let near = got.iter().zip(by_hand).all(|(a, b)| (a - b).abs() < 1e-12);
    assert!(near, "{what}: {got:?}, by hand {by_hand:?}");
}

#[test]
fn level_all_moves_every_coil_alike() {
    assert_eq!(asked(MotionSettings::LevelAll, &line(), &[0.3]), [0.3; 5]);
}

/// Extent 40 mm, edge 20 mm: the front's middle stands at 60 value - 10 mm.
#[test]
fn a_column_rises_along_a_line() {
    for (value, by_hand) in [
        (0.0, [0.0, 0.0, 0.0, 0.0, 0.0]),
        (0.05, [0.15, 0.0, 0.0, 0.0, 0.0]),
        (0.25, [0.75, 0.25, 0.0, 0.0, 0.0]),
        (0.5, [1.0, 1.0, 0.5, 0.0, 0.0]),
        (0.75, [1.0, 1.0, 1.0, 0.75, 0.25]),
        (1.0, [1.0, 1.0, 1.0, 1.0, 1.0]),
    ] {
        let what = format!("value {value}");
        assert_near(&asked(column(0.0, 20.0), &line(), &[value]), &by_hand, &what);
        let mut leftwards = asked(column(180.0, 20.0), &line(), &[value]);
        leftwards.reverse();
        assert_near(&leftwards, &by_hand, &format!("{what}, leftwards"));
    }
}

#[test]
fn a_column_is_empty_at_0_full_at_1_and_never_jumps() {
    for (places, towards, edge) in [
        (line(), 0.0, 0.0),
        (line(), 17.0, 7.3),
        (ring(), 90.0, 33.3),
        (ring(), -123.0, 500.0),
        (line(), 90.0, 0.0),
        (vec![place(-3.0, 8.0)], 45.0, 10.0),
    ] {
        let at = |value: f64| asked(column(towards, edge), &places, &[value]);
        assert!(at(0.0).iter().all(|&share| share == 0.0), "{towards} degrees, edge {edge}");
        assert!(at(1.0).iter().all(|&share| share == 1.0), "{towards} degrees, edge {edge}");
        // An edge a thousandth of the extent is passed in 1/1001 of the range of values.
        let steps = 100_000;
        let largest = 1.1 * 1001.0 / f64::from(steps);
        let mut before = at(0.0);
        for step in 1..=steps {
            let now = at(f64::from(step) / f64::from(steps));
            for (now, before) in now.iter().zip(&before) {
                assert!(*now >= *before && now - before < largest, "from {before} to {now}");
            }
            before = now;
        }
    }
}

/// For some edges the slope times the way it is meant for rounds to just below 1.
#[test]
fn a_full_column_is_exactly_full_whatever_its_edge() {
    for edge in 1..=400 {
        let full = asked(column(0.0, f64::from(edge) / 4.0), &line(), &[1.0]);
        assert_eq!(full, [1.0; 5], "edge {} mm", f64::from(edge) / 4.0);
    }
}

#[test]
fn one_coil_in_a_column_follows_the_value() {
    for value in [0.0, 0.1, 0.5, 0.99, 1.0] {
        assert_near(&asked(column(30.0, 10.0), &[place(5.0, 5.0)], &[value]), &[value], "alone");
        let level = [place(-20.0, 7.0), place(20.0, 7.0)];
        assert_near(&asked(column(90.0, 0.0), &level, &[value]), &[value; 2], "all level");
    }
}

/// Three bands stand at 0, 20 and 40 mm.
#[test]
fn bands_are_laid_out_along_a_line() {
    let along = MotionSettings::Along { towards_deg: 0.0 };
    for (bands, by_hand) in [
        (vec![1.0, 0.0, 0.5], [1.0, 0.5, 0.0, 0.25, 0.5]),
        (vec![0.2, 0.6, 0.0], [0.2, 0.4, 0.6, 0.3, 0.0]),
        (vec![0.0, 1.0], [0.0, 0.25, 0.5, 0.75, 1.0]),
        (vec![0.1, 0.2, 0.3, 0.4, 0.5], [0.1, 0.2, 0.3, 0.4, 0.5]),
        (vec![1.0; 9], [1.0; 5]),
    ] {
        assert_near(&asked(along, &line(), &bands), &by_hand, &format!("bands {bands:?}"));
    }
    let leftwards = MotionSettings::Along { towards_deg: 180.0 };
    assert_near(&asked(leftwards, &line(), &[0.0, 1.0]), &[1.0, 0.75, 0.5, 0.25, 0.0], "leftwards");
}

#[test]
fn on_a_ring_left_and_right_move_alike() {
    let up = MotionSettings::Along { towards_deg: 90.0 };
    for shares in [asked(column(90.0, 30.0), &ring(), &[0.4]), asked(up, &ring(), &[0.9, 0.1, 0.6])]
    {
        for (right, left) in [(0, 4), (1, 3), (7, 5)] {
            assert!((shares[right] - shares[left]).abs() < 1e-12, "{shares:?}");
        }
    }
    // Top and bottom, by hand: the front's middle stands at 0.4 * 130 - 15 = 37 mm of 100.
    let shares = asked(column(90.0, 30.0), &ring(), &[0.4]);
    assert_near(&[shares[6], shares[2]], &[1.0, 0.0], "bottom and top");
    let middle = (37.0 - 50.0) / 30.0 + 0.5;
    assert_near(&[shares[0]], &[middle], "a coil at half height");
}

#[test]
fn what_does_not_fit_a_motion_is_refused_with_a_sentence() {
    let refuse = |motion, bands, places: &[Place]| {
        Spread::new(&route(motion, bands, places.len()), places, Rate::new(200, 1).unwrap())
            .unwrap_err()
            .to_string()
    };
    let along = MotionSettings::Along { towards_deg: 90.0 };
    let edge = column(0.0, -1.0);
    let (axis, many) = (column(f64::NAN, 1.0), MotionSettings::LevelAll);
    for (sentence, part) in [
        (refuse(along, 1, &ring()), "along takes two bands or more, not 1"),
        (refuse(along, 2, &line()), "same place along 90 degrees"),
        (refuse(edge, 1, &line()), "edge_mm is -1 mm; it must be from 0 to 100000 mm"),
        (refuse(axis, 1, &line()), "towards_deg is NaN degrees"),
        (refuse(many, 2, &line()), "level_all takes one band, not 2"),
        (refuse(column(0.0, 1.0), 0, &line()), "column takes one band, not 0"),
    ] {
        assert!(sentence.contains(part), "{sentence}");
    }
}

/// Five coils 10 mm apart at 200 frames a second. 500 mm/s are 2.5 mm a frame: 4 frames a coil.
#[test]
fn a_front_reaches_each_coil_in_its_frame() {
    let outward = |x_mm, fade_per_m| MotionSettings::Outward {
        from: place(x_mm, 3.0),
        speed_mm_per_s: 500.0,
        fade_per_m,
    };
    for (x_mm, frames) in
        [(0.0, [0, 4, 8, 12, 16]), (20.0, [8, 4, 0, 4, 8]), (41.0, [16, 12, 8, 4, 0])]
    {
        let route = route(outward(x_mm, 0.0), 1, 5);
        let mut spread = Spread::new(&route, &line(), Rate::new(200, 1).unwrap()).unwrap();
        for frame in 0..40_usize {
            // A click in frame 0, and a ramp from frame 20 on.
            let value = |frame: usize| match frame {
                0 => 1.0,
                20.. => (frame - 19) as f64 / 64.0,
                _ => 0.0,
            };
            spread.follow(&[value(frame)]);
            spread.ask(&[9.0], &mut |coil, share| {
                let by_hand = frame.checked_sub(frames[coil]).map_or(0.0, value);
                assert_eq!(share, by_hand, "coil {coil}, frame {frame}, from {x_mm} mm");
            });
        }
    }
    // Nine tenths lost on a metre: after 20 mm 0.1^0.02 = 0.95499 is left, after 40 mm 0.91201.
    let route = route(outward(0.0, 0.9), 1, 5);
    let mut spread = Spread::new(&route, &line(), Rate::new(200, 1).unwrap()).unwrap();
    (0..30).for_each(|_| spread.follow(&[1.0]));
    let mut got = [0.0; 5];
    spread.ask(&[1.0], &mut |coil, share| got[coil] = share);
    assert!((got[2] - 0.95499).abs() < 1e-5 && (got[4] - 0.91201).abs() < 1e-5, "{got:?}");
    assert_eq!(got[0], 1.0);
}

#[test]
fn fronts_that_would_arrive_too_late_are_refused() {
    let refuse = |from, speed_mm_per_s, fade_per_m| {
        let motion = MotionSettings::Outward { from, speed_mm_per_s, fade_per_m };
        let route = route(motion, 1, 5);
        Spread::new(&route, &line(), Rate::new(200, 1).unwrap()).err().map(|it| it.to_string())
    };
    let far = place(-60.0, 3.0);
    assert_eq!(refuse(far, 10.0, 0.0), None, "100 mm in 10 s");
    let sentence = refuse(far, 9.0, 0.0).unwrap();
    assert!(sentence.contains("11.1 s") && sentence.contains("10 mm/s or more"), "{sentence}");
    assert!(refuse(far, 0.0, 0.0).unwrap().contains("mm_per_s is 0 mm/s"));
    assert!(refuse(far, 100.0, 1.0).unwrap().contains("fade_per_m is 1;"));
    assert!(refuse(place(f64::NAN, 0.0), 100.0, 0.0).unwrap().contains("from_mm is NaN mm"));
}
