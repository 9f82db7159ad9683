//! Limits that boards are to keep: never in the way of what the budget grants, and not far from it.

use coilscore::budget::{Budget, Start, report};
use coilscore::preset::{display, prepare_display};
use coilscore::run::board_limits::reckon;
use coilscore::units::{Rate, Share};

use crate::common;

/// The board's running mean over a window, as in its STATUS.
fn check(text: &str, wish: impl Fn(usize, u32) -> Share) {
    let display = display::read("test", text).unwrap();
    let reckoned = reckon(&display).unwrap();
    let rate = Rate::new(50, 1).unwrap();
    let (settings, _) = prepare_display(&display, rate, Start::Cold);
    let mut budget = Budget::new(&settings).unwrap();
    let share = 1.0 - (-0.02 / f64::from(reckoned.window_s)).exp();
    let mut means = vec![0.0; settings.coils.len()];
    for frame in 0..50 * 2 * u32::from(reckoned.window_s) {
        let wishes: Vec<_> = (0..means.len()).map(|coil| wish(coil, frame)).collect();
        for (coil, duty) in budget.permit(&wishes).iter().enumerate() {
            let limit = reckoned.coils[coil];
            let code = f64::from(duty.code().abs());
            means[coil] += (code - means[coil]) * share;
            assert!(code <= f64::from(limit.most), "coil {coil}, frame {frame}: {code}");
            let most = f64::from(limit.mean_most);
            assert!(means[coil] <= most, "coil {coil}, frame {frame}: {} over {most}", means[coil]);
        }
    }
}

#[test]
fn limits_never_stand_in_the_way_of_what_the_budget_grants() {
    for text in [common::HOT_RING, common::UNLIMITED] {
        check(text, |_, _| Share::ALL);
        // One coil alone, and bursts after rests.
        check(text, |coil, _| if coil == 0 { Share::ALL } else { Share::NONE });
        check(text, |coil, frame| match (frame / 700 + coil as u32) % 3 {
            0 => Share::NONE,
            _ => Share::ALL,
        });
    }
}

#[test]
fn limits_are_near_to_what_can_be_held_for_ever() {
    let display = display::read("test", common::HOT_RING).unwrap();
    let reckoned = reckon(&display).unwrap();
    let (settings, _) = prepare_display(&display, Rate::new(50, 1).unwrap(), Start::Unknown);
    let allows = report(&settings).unwrap();
    for (coil, limit) in allows.coils.iter().zip(&reckoned.coils) {
        let mean = f64::from(limit.mean_most) / 4095.0;
        let alone = coil.alone_duty.unwrap();
        assert!(mean >= alone, "less than it may hold for ever alone: {mean} of {alone}");
        assert!(mean < alone * 2.0, "{mean} is no limit where {alone} can be held");
    }
}
