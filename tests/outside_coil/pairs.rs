//! Inductance against Maxwell's formula computed elsewhere, Mohan and Wheeler.

use coilscore::coil::inductance::{
    Outline, current_sheet, modified_wheeler, recommended_pwm, sings, time_constant, wheeler_wound,
};
use coilscore::coil::iron::Iron;
use coilscore::coil::turn::{mutual, own};
use coilscore::coil::winding::{Level, Winding};
use coilscore::units::{Henries, Hertz, Ohms, Seconds};

use crate::agree::{Table, Worst};
use crate::loops::winding;

#[test]
fn two_turns_match_scipy_and_a_published_example() {
    let mut worst = Worst::new("two turns, M: scipy elliptic and Neumann quadrature", 1e-9);
    for row in Table::read(include_str!("data/mutual_inductance_loops.csv")).rows() {
        let ours = mutual(row.get("a_m"), row.get("b_m"), row.get("d_m")) * 1e9;
        worst.number(ours, row.get("M_nH_elliptic"));
        worst.number(ours, row.get("M_nH_quadrature"));
    }
    worst.print();
    // Worked example of Rosa and Grover (NBS Bulletin 8), remembered as 248.79 cm, which is nH.
    assert!((mutual(0.25, 0.2, 0.1) * 1e9 - 248.79).abs() < 0.005);
}

#[test]
fn quick_formulas_match_their_table_and_the_sum_of_turns() {
    let mut formula = Worst::new("Mohan's formulas: computed table", 2e-6);
    let mut sum = Worst::new("sum of turns against Mohan's circle", 0.01);
    for row in Table::read(include_str!("data/mohan_examples.csv")).rows() {
        let outline = match row.text("shape") {
            "square" => Outline::Square,
            "hexagonal" => Outline::Hexagon,
            "octagonal" => Outline::Octagon,
            _ => Outline::Circle,
        };
        let (turns, outer, inner) =
            (row.get("N"), row.get("d_out_mm") * 1e-3, row.get("d_in_mm") * 1e-3);
        let sheet = current_sheet(outline, turns, outer, inner).0 * 1e6;
        formula.number(sheet, row.get("L_uH_current_sheet"));
        let wheeler = modified_wheeler(outline, turns, outer, inner);
        assert_eq!(wheeler.is_some(), outline != Outline::Circle, "there is no circle");
        if let Some(wheeler) = wheeler {
            formula.number(wheeler.0 * 1e6, row.get("L_uH_modified_Wheeler"));
        } else {
            let pitch = (outer - inner) / 2.0 / turns;
            let trace = 0.6 * pitch;
            // Copper in the middle of each pitch.
            let spiral = winding(inner + 0.4 * pitch, trace, pitch, turns as u32, 1, 1e-3);
            sum.number(spiral.inductance(None).0 * 1e6, sheet);
            // Sum of filaments computed with scipy, same trace: 1.29853, 5.91715, 0.29149 uH.
            let filaments = match turns as u32 {
                10 => 1.29853,
                20 => 5.91715,
                _ => 0.29149,
            };
            let off = spiral.inductance(None).0 * 1e6 / filaments - 1.0;
            assert!(off.abs() < 1e-4, "{turns} turns: {off:e}");
        }
    }
    formula.print();
    sum.print();
}

/// Mean radius, length, depth in mm; Wheeler per turn squared, nH; 24 x 24 filaments, nH (computed
/// with numpy). The first has Brooks's proportions: L = 1.6994 uH/m N^2 a (Grover; from memory).
const WOUND: [(f64, f64, f64, f64, f64); 3] = [
    (15.0, 10.0, 10.0, 25.30934, 25.48956),
    (10.0, 4.0, 8.0, 17.89549, 18.20027),
    (6.0, 20.0, 4.0, 4.42913, 4.34708),
];

/// 24 x 24 round wires that nearly touch, in the section given.
fn section(mean: f64, length: f64, depth: f64) -> Winding {
    let (across, along) = (depth / 24.0, length / 24.0);
    let radii = (0..24).map(|n| mean - depth / 2.0 + across * (f64::from(n) + 0.5)).collect();
    // A square of copper, which no wire is, but filaments that fill the section are.
    let level = Level { area_m2: across * along, mean_radius_m: 0.2235 * (across + along) };
    Winding::new(radii, vec![level; 24], along).unwrap()
}

#[test]
fn wound_coils_match_wheeler_brooks_and_filaments() {
    let mut formula = Worst::new("Wheeler's formula: computed", 5e-6);
    let mut sum = Worst::new("sum of turns: 24 x 24 filaments (numpy)", 1e-3);
    let mut both = Worst::new("sum of turns against Wheeler", 0.02);
    for (mean, length, depth, wheeler, numeric) in WOUND {
        let [mean, length, depth] = [mean, length, depth].map(|mm| mm * 1e-3);
        let quick = wheeler_wound(1.0, mean, length, depth).0 * 1e9;
        formula.number(quick, wheeler);
        let ours = section(mean, length, depth).inductance(None).0 / (576.0 * 576.0) * 1e9;
        sum.number(ours, numeric);
        both.number(ours, quick);
    }
    formula.print();
    sum.print();
    both.print();
    let brooks = section(15e-3, 10e-3, 10e-3).inductance(None).0 / (576.0 * 576.0 * 15e-3);
    assert!((brooks * 1e6 / 1.6994 - 1.0).abs() < 5e-4, "{brooks:e}");
}

#[test]
fn one_turn_of_wire_matches_the_handbook() {
    // L = mu0 a (ln(8 a / r) - 1.75) for a round wire of radius r carrying current all through
    // (handbooks; from memory). e^-0.25 = 0.7788.
    let (a, r) = (0.05_f64, 5e-4_f64);
    let handbook = 4e-7 * core::f64::consts::PI * a * ((8.0 * a / r).ln() - 1.75);
    assert!((own(a, 0.7788 * r) / handbook - 1.0).abs() < 1e-5);
}

#[test]
fn the_grid_of_turns_is_summed_as_if_pair_by_pair() {
    let coil = winding(6e-3, 0.4e-3, 0.7e-3, 5, 4, 0.3e-3);
    let rings: Vec<(f64, f64)> = (0..4)
        .flat_map(|layer| coil.radii_m().iter().map(move |r| (*r, -0.3e-3 * f64::from(layer))))
        .collect();
    let face = -1.3e-3;
    let (mut air, mut image) = (0.0, 0.0);
    for (i, a) in rings.iter().enumerate() {
        for (j, b) in rings.iter().enumerate() {
            let gmr = 0.2235 * (0.4e-3 + 35e-6);
            air += if i == j { own(a.0, gmr) } else { mutual(a.0, b.0, a.1 - b.1) };
            image += mutual(a.0, b.0, a.1 - (2.0 * face - b.1));
        }
    }
    let iron = Iron::Weight { face_z_m: face, weight: 0.8 };
    assert!((coil.inductance(None).0 / air - 1.0).abs() < 1e-12);
    assert!((coil.inductance(Some(&iron)).0 / (air + 0.8 * image) - 1.0).abs() < 1e-12);
}

#[test]
fn pwm_is_fast_enough_and_silent() {
    // 0.880455 mH, 13.4046 ohm: 65.683 us (worked).
    let tau = time_constant(Henries(0.880455e-3), Ohms(13.4046));
    assert!((tau.0 - 65.683e-6).abs() < 1e-9);
    assert_eq!(recommended_pwm(tau), Hertz(22_000.0), "1/(1.5 tau) is only 10 kHz");
    assert!((recommended_pwm(Seconds(10e-6)).0 - 66_666.7).abs() < 0.1);
    let heard = [490.0, 1000.0, 18_000.0].map(|hz| sings(Hertz(hz)));
    assert_eq!(heard, [true; 3]);
    assert_eq!([20_000.0, 100.0].map(|hz| sings(Hertz(hz))), [false; 2]);
}
