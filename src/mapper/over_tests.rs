//! Routes over each other, trim and master, by hand.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

use super::tests::{route, settings, wishes};
use super::*;
use crate::units::Seconds;

/// Routes of one band each over one coil; levels of -40 to 0 dBFS are 0 to 1.
fn over(weights: &[f64], priorities: &[u32]) -> Mapper {
    let routes = weights.iter().zip(priorities).enumerate();
    let routes = routes.map(|(band, (&weight, &priority))| RouteSettings {
        bands: vec![band],
        weight,
        priority,
        ..route(MotionSettings::LevelAll, 1, 1)
    });
    Mapper::new(&settings(1, Combine::Over, routes.collect())).unwrap()
}

/// Wish v over what is there: there * (1 - |v|) + v.
#[test]
fn higher_covers_lower() {
    // weights, priorities, levels, wish by hand
    for (weights, priorities, levels, by_hand) in [
        // 0.75, then a half over it: 0.75 * 0.5 + 0.5.
        ([1.0, 1.0], [0, 0], [-10.0, -20.0], 0.875),
        // A full one hides what lies below it, an empty one nothing.
        ([0.5, 1.0], [0, 0], [0.0, 0.0], 1.0),
        ([1.0, 0.25], [1, 0], [0.0, 0.0], 1.0),
        ([1.0, 1.0], [0, 0], [-10.0, -40.0], 0.75),
        // A half of a weight of 0.25 lies under or over: 1 * (1 - 0.125) + 0.125 is 1 either way,
        // 0.5 * 0.75 + 0.25 is not 0.25 * 0.5 + 0.5 for signs that differ.
        ([1.0, -0.5], [0, 1], [-20.0, 0.0], -0.25),
        ([1.0, -0.5], [1, 0], [-20.0, 0.0], 0.25),
        ([1.0, -0.5], [7, 7], [-20.0, 0.0], -0.25),
        ([-1.0, -1.0], [0, 0], [-20.0, -20.0], -0.75),
    ] {
        let got = wishes(&mut over(&weights, &priorities), &levels, false);
        assert_eq!(got, [by_hand], "{weights:?} {priorities:?} {levels:?}");
    }
}

/// Bottom to top: the third (priority 0), the first (1), the second (2). By hand: -0.5; then 0.25
/// over it, -0.5 * 0.75 + 0.25 = -0.125; then -0.5 over that, -0.125 * 0.5 - 0.5 = -0.5625.
#[test]
fn three_layers_lie_by_priority_and_meters_as_written() {
    let mut mapper = over(&[0.5, -1.0, -1.0], &[1, 2, 0]);
    assert_eq!(wishes(&mut mapper, &[-20.0, -20.0, -20.0], false), [-0.5625]);
    let mut mapper = over(&[1.0, 1.0, 1.0], &[1, 2, 0]);
    wishes(&mut mapper, &[-30.0, -20.0, -10.0], false);
    let meters: Vec<f64> = mapper.routes().map(|values| values[0]).collect();
    assert_eq!(meters, [0.25, 0.5, 0.75]);
}

#[test]
fn priority_matters_only_where_routes_cover() {
    for combine in [Combine::Max, Combine::Add] {
        let get = |first, second| {
            let mut routes = vec![route(MotionSettings::LevelAll, 1, 1); 2];
            routes[0].priority = first;
            routes[1].priority = second;
            routes[1].weight = -1.0;
            let mut mapper = Mapper::new(&settings(1, combine, routes)).unwrap();
            wishes(&mut mapper, &[-20.0], false)
        };
        assert_eq!(get(0, 5), get(5, 0), "{combine:?}");
    }
}

#[test]
fn trims_and_master_come_last() {
    let mut all = settings(3, Combine::Add, vec![route(MotionSettings::LevelAll, 1, 3); 2]);
    all.trims = vec![1.0, 0.5, 0.0];
    all.master = 0.5;
    let mut mapper = Mapper::new(&all).unwrap();
    // Two full wishes are one, after which the factors count.
    assert_eq!(wishes(&mut mapper, &[0.0], false), [0.5, 0.25, 0.0]);
    all.rest_s = Seconds(0.0);
    let mut mapper = Mapper::new(&all).unwrap();
    assert_eq!(wishes(&mut mapper, &[0.0], true), [0.0; 3]);
}

#[test]
fn factors_that_are_none_are_refused() {
    let refusal = |change: &dyn Fn(&mut MapperSettings)| {
        let mut all = settings(3, Combine::Max, vec![]);
        change(&mut all);
        Mapper::new(&all).unwrap_err().to_string()
    };
    for (sentence, part) in [
        (refusal(&|it| it.master = 1.1), "master is 1.1; it must be from 0 to 1"),
        (refusal(&|it| it.master = f64::NAN), "master is NaN"),
        (refusal(&|it| it.trims[2] = -0.1), "coil 2 has a trim of -0.1; it must be from 0 to 1"),
        (refusal(&|it| it.trims.push(1.0)), "4 trims for 3 coils; give each coil one"),
    ] {
        assert!(sentence.contains(part), "{sentence}");
    }
}
