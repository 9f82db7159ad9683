//! Turns and spirals against magpylib 6.3.0 (CODATA magnetic constant, as ours).

use coilscore::coil::elliptic::Complete;
use coilscore::coil::iron::Iron;
use coilscore::coil::space::Vec3;
use coilscore::coil::turn::{MU0, annulus_axis_per_amp, field_per_amp};
use coilscore::coil::winding::{Level, Winding};

use crate::agree::{Table, Worst};

/// A winding whose fields alone are of interest.
pub(crate) fn winding(
    inner: f64,
    trace: f64,
    pitch: f64,
    turns: u32,
    layers: usize,
    step: f64,
) -> Winding {
    let radii = (0..turns).map(|n| inner / 2.0 + trace / 2.0 + pitch * f64::from(n)).collect();
    let level = Level { area_m2: trace * 35e-6, mean_radius_m: 0.2235 * (trace + 35e-6) };
    Winding::new(radii, vec![level; layers], step).unwrap()
}

#[test]
fn elliptic_integrals_match_mpmath() {
    let mut worst = Worst::new("K, E, (K-E)/m, (D-B)/m: mpmath", 1e-13);
    for row in Table::read(include_str!("data/elliptic.csv")).rows() {
        let m = row.get("m");
        let ours = Complete::new(m, 1.0 - m);
        for (ours, theirs) in [(ours.k, "k"), (ours.e, "e"), (ours.d, "d"), (ours.c, "c")] {
            worst.number(ours, row.get(theirs));
        }
    }
    worst.print();
}

#[test]
fn one_turn_matches_magpylib_on_and_off_the_axis() {
    let mut worst = Worst::new("one turn, field: magpylib", 1e-11);
    for row in Table::read(include_str!("data/magpylib_loops.csv")).rows() {
        let ours = field_per_amp(row.get("radius_m"), row.get("r_m"), row.get("z_m"));
        worst.parts((ours.br, ours.bz), (row.get("br_t"), row.get("bz_t")));
        // Next to the axis the small part counts as well.
        let relative = (ours.br / row.get("br_t") - 1.0).abs();
        assert!(relative < 1e-9, "r {}: {relative:e}", row.get("r_m"));
    }
    worst.print();
    let mut worst = Worst::new("turn of 10 mm, field: magpylib and scipy elliptic", 1e-9);
    for row in Table::read(include_str!("data/field_loop.csv")).rows() {
        let ours = field_per_amp(0.01, row.get("r_mm") * 1e-3, row.get("z_mm") * 1e-3);
        for by in ["magpylib", "elliptic"] {
            let part = |name: &str| row.get(&format!("{name}_T_{by}"));
            worst.parts((ours.br, ours.bz), (part("Br"), part("Bz")));
        }
    }
    worst.print();
}

/// Textbook: B = mu0 a^2 / (2 (a^2 + z^2)^1.5) on the axis and its derivative.
#[test]
fn the_gradient_on_the_axis_is_the_textbooks() {
    let mut worst = Worst::new("turn of 10 mm, gradient on the axis: closed form", 1e-9);
    let computed = [
        (1e-3, -1.838644168e-3),
        (3e-3, -4.558858714e-3),
        (5e-3, -5.395057713e-3),
        (10e-3, -3.332162204e-3),
    ];
    for (z, slope) in computed {
        worst.number(field_per_amp(0.01, 0.0, z).bz_by_z, slope);
    }
    worst.print();
}

#[test]
fn spirals_match_magpylib_in_space() {
    let spirals = [
        winding(6e-3, 0.55e-3, 0.7e-3, 20, 12, 0.15e-3),
        winding(3e-3, 0.2e-3, 0.35e-3, 15, 4, 0.4e-3),
    ];
    let mut worst = Worst::new("two spirals, field in space: magpylib", 1e-10);
    for row in Table::read(include_str!("data/magpylib_spirals.csv")).rows() {
        let spiral = &spirals[row.get("spiral") as usize];
        let at = Vec3::new(row.get("x_m"), row.get("y_m"), row.get("z_m"));
        let ours = spiral.local_per_amp(None, at, Vec3::UP).field;
        worst.field(ours, Vec3::new(row.get("bx_t"), row.get("by_t"), row.get("bz_t")));
    }
    worst.print();
}

/// 120 turns, 0.5 A, with and without an ideal mirror 1.56 mm behind the front: magpylib 6.3.0.
#[test]
fn a_coil_in_front_of_iron_matches_magpylib_with_image_turns() {
    // First turn at 2.175 mm.
    let coil = winding(4.1e-3, 0.25e-3, 0.35e-3, 10, 12, 0.13e-3);
    let mirror = Iron::Weight { face_z_m: -1.56e-3, weight: 1.0 };
    let mut worst = Worst::new("120 turns with and without ideal iron: magpylib", 1e-9);
    for row in Table::read(include_str!("data/field_multilayer_coil.csv")).rows() {
        let (r, z) = (row.get("r_mm") * 1e-3, row.get("z_mm_above_top_layer") * 1e-3);
        let air = coil.field_per_amp(None, r, z);
        worst.parts((air.br / 2.0, air.bz / 2.0), (row.get("Br_T"), row.get("Bz_T")));
        let iron = coil.field_per_amp(Some(&mirror), r, z);
        let with = |name: &str| row.get(&format!("{name}_T_with_ideal_iron_image"));
        worst.parts((iron.br / 2.0, iron.bz / 2.0), (with("Br"), with("Bz")));
    }
    worst.print();
}

#[test]
fn iron_at_a_distance_helps_as_computed() {
    let mut worst = Worst::new("image of one turn against gap: magpylib", 1e-8);
    let level = Level { area_m2: 1e-8, mean_radius_m: 1e-4 };
    let one = Winding::new(vec![0.01], vec![level], 1e-3).unwrap();
    for row in Table::read(include_str!("data/iron_image_ratio.csv")).rows() {
        let mirror = Iron::Weight { face_z_m: -row.get("gap_loop_to_iron_mm") * 1e-3, weight: 1.0 };
        let with = one.field_per_amp(Some(&mirror), 0.0, 3e-3).bz;
        let without = one.field_per_amp(None, 0.0, 3e-3).bz;
        worst.number(with / without, row.get("Bz_ratio_on_axis_z3mm"));
    }
    worst.print();
}

#[test]
fn many_turns_become_the_closed_form_of_a_sheet() {
    let mut worst = Worst::new("2000 thin turns on the axis: annulus closed form", 1e-6);
    let sheet = winding(6e-3, 5.75e-6, 5.75e-6, 2000, 1, 1e-3);
    for z in [2e-3, 5e-3, 8e-3, 20e-3] {
        let ours = sheet.field_per_amp(None, 0.0, z).bz / 2000.0;
        worst.number(ours, annulus_axis_per_amp(3e-3, 14.5e-3, z));
    }
    worst.print();
}

/// Far from any coil: a dipole, mu0 m / (2 pi z^3).
#[test]
fn far_away_a_coil_is_a_dipole() {
    let one = field_per_amp(0.01, 0.0, 30.0).bz;
    let dipole = MU0 * 1e-4 / (2.0 * 30.0_f64 * 30.0 * 30.0);
    assert!((one / dipole - 1.0).abs() < 1e-6, "{one} {dipole}");
    let aside = field_per_amp(0.01, 30.0, 0.0).bz;
    assert!((aside / (-dipole / 2.0) - 1.0).abs() < 1e-6, "{aside}");
}
