//! `budget::rested` against a closed form and against whatever a budget may have granted.

use coilscore::budget::{Budget, BudgetSettings, Start, rested};
use coilscore::units::{Celsius, Rate, Seconds, Share};

use super::nets::{Demand, Dice, display, random, worked_coil};
use super::world::celsius;

/// With one coil and the 4/25/2.5/15 net, cooling is a sum of two exponentials whose rates are the
/// eigenvalues of a 2 x 2 matrix, and so is every step that it is divided into.
#[test]
fn cooling_is_the_sum_of_two_exponentials() {
    let mut settings = display(200, vec![worked_coil(1e6, 1e6)]);
    settings.start = Start::Nodes(celsius(&[85.0, 35.0]));
    let (a, b, c, d): (f64, f64, f64, f64) =
        (-0.4 / 4.0, 0.4 / 4.0, 0.4 / 25.0, -(0.4 + 1.0 / 15.0) / 25.0);
    let (half, det) = ((a + d) / 2.0, a * d - b * c);
    let root = f64::sqrt(half * half - det);
    let (fast, slow) = (half - root, half + root);
    for t in [0.0, 0.1, 8.6, 60.0, 436.0, 3600.0, 20_000.0, 1e15] {
        let cooled = rested(&settings, Seconds(0.0), Seconds(t)).unwrap();
        let (ef, es) = ((fast * t).exp(), (slow * t).exp());
        let (one, of_a) = ((slow * ef - fast * es) / (slow - fast), (es - ef) / (slow - fast));
        let exact = [
            25.0 + one * 60.0 + of_a * (a * 60.0 + b * 10.0),
            25.0 + one * 10.0 + of_a * (c * 60.0 + d * 10.0),
        ];
        for (node, exact) in cooled.iter().zip(exact) {
            assert!((node.0 - exact).abs() < 1e-6, "{t} s: {} is not {exact}", node.0);
        }
    }
}

#[test]
fn nothing_that_was_granted_is_warmer() {
    for seed in 0..40 {
        let mut dice = Dice(seed);
        let mut settings = random(&mut dice, 6);
        settings.frame_rate = Rate::new(20, 1).unwrap();
        let mut budget = Budget::new(&settings).unwrap();
        let (demand, mut wishes) = (Demand::any(&mut dice), [Share::NONE; 6]);
        for frame in 0..100 {
            demand.wishes(&mut dice, frame, &mut wishes);
            budget.permit(&wishes);
        }
        let after = rested(&settings, Seconds(5.0), Seconds(0.0)).unwrap();
        all_below(seed, &budget, &after);
        for _ in 0..400 {
            budget.permit(&[]);
        }
        all_below(seed, &budget, &rested(&settings, Seconds(5.0), Seconds(20.0)).unwrap());
    }
}

fn all_below(seed: u64, budget: &Budget, most: &[Celsius]) {
    for (node, (now_c, most)) in budget.load().node_c.iter().zip(most).enumerate() {
        let over_k = now_c - most.0;
        assert!(over_k < 1e-5, "seed {seed}, node {node}: {over_k} K warmer than can be");
    }
}

#[test]
fn no_time_is_too_odd() {
    let mut settings = display(200, vec![worked_coil(70.0, 50.0)]);
    let bound_c = Budget::new(&settings).unwrap().bound_c().to_vec();
    let nodes = |settings: &BudgetSettings, driven, off| -> Vec<f64> {
        let nodes = rested(settings, Seconds(driven), Seconds(off)).unwrap();
        nodes.iter().map(|node| node.0).collect()
    };
    for none in [0.0, -5.0, f64::NAN, f64::NEG_INFINITY] {
        assert_eq!(nodes(&settings, none, none), [25.0, 25.0]);
    }
    for long in [601.0, f64::INFINITY, f64::MAX] {
        let hottest = nodes(&settings, long, 0.0);
        let off_k = hottest.iter().zip(&bound_c).map(|(c, bound_c)| (c - bound_c).abs());
        assert!(off_k.fold(0.0, f64::max) < 1e-9, "{hottest:?}");
    }
    assert!(nodes(&settings, 9.0, f64::INFINITY).iter().all(|c| (c - 25.0).abs() < 1e-6));
    settings.start = Start::Nodes(celsius(&[25.0]));
    assert!(rested(&settings, Seconds(0.0), Seconds(0.0)).is_err());
}
