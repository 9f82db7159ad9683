//! The worked display by hand: 4/25 J/K, 2.5/15 K/W, 12 V, 10 ohm at 20 C, room 25 C.
//!
//! Full power at 25 C is 144/10.196 = 14.12 W. Floor, bounds and steady duty follow from sums; the
//! times were computed with an independent numpy model of the dense limiter.

use coilscore::budget::{Budget, Node};
use coilscore::units::Share;

use super::nets::{display, worked_coil};

/// Duties at these seconds of full wish, and the second of the first cut.
fn full_wish(budget: &mut Budget, rate_hz: u32, at_s: &[u32]) -> (f64, Vec<f64>) {
    let last = at_s.iter().max().copied().unwrap_or(0) * rate_hz;
    let mut first_cut_s = f64::INFINITY;
    let mut duties = vec![];
    for frame in 0..=last {
        let code = budget.permit(&[Share::ALL])[0].code();
        if code < 65_535 {
            first_cut_s = first_cut_s.min(f64::from(frame) / f64::from(rate_hz));
        }
        if frame % rate_hz == 0 && at_s.contains(&(frame / rate_hz)) {
            duties.push(f64::from(code) / 65_535.0);
        }
    }
    (first_cut_s, duties)
}

#[test]
fn box_and_floor_of_limits_90_and_60() {
    let budget = Budget::new(&display(50, vec![worked_coil(90.0, 60.0)])).unwrap();
    // 35 K over 15 K/W is 2.33333 W; the winding sits 2.5 K/W above: 40.8333 K.
    assert!((budget.floor_w()[0] - 35.0 / 15.0).abs() < 1e-6, "{:?}", budget.floor_w());
    assert!((budget.bound_c()[0] - 65.833_333).abs() < 1e-5);
    assert!((budget.bound_c()[1] - 60.0).abs() < 1e-5);
    assert_eq!(budget.binding(), Node::Backing(0));
    assert_eq!(budget.limit_c(), [90.0, 60.0]);
}

#[test]
fn full_wish_for_ever_with_limits_90_and_60() {
    for (x, by_hand, computed) in
        [(f64::INFINITY, 0.191_219, 0.191_182), (0.761, f64::NAN, 0.433_948)]
    {
        let mut settings = display(50, vec![worked_coil(90.0, 60.0)]);
        settings.coils[0].period_over_tau = x;
        let mut budget = Budget::new(&settings).unwrap();
        let (_, duties) = full_wish(&mut budget, 50, &[7200]);
        // 2.33333 W of 144 V^2 over 11.8009 ohm at 65.8333 C, less the tick's frozen resistance.
        assert!((duties[0] - computed).abs() < 5e-5, "x {x}: {duties:?}");
        if by_hand > 0.0 {
            assert!(duties[0] <= by_hand && duties[0] > by_hand - 7e-5, "x {x}: {duties:?}");
        }
        let coil_c = budget.load().node_c[0];
        assert!(coil_c < 65.833_334 && coil_c > 65.82, "{coil_c}");
    }
}

#[test]
fn full_wish_from_cold_with_limits_90_and_65() {
    let mut budget = Budget::new(&display(50, vec![worked_coil(90.0, 65.0)])).unwrap();
    let (first_cut_s, duties) = full_wish(&mut budget, 50, &[60, 120, 300, 600]);
    assert!((first_cut_s - 57.92).abs() <= 0.021, "{first_cut_s}");
    for (ours, computed) in duties.iter().zip([0.858_328, 0.430_157, 0.229_974, 0.222_797]) {
        // A fifth of a frame on the steep part, the last digit where it has settled.
        let off = (ours / computed - 1.0).abs();
        assert!(off < if computed > 0.23 { 3e-4 } else { 3e-5 }, "{duties:?}");
    }
}
