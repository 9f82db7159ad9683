//! Discs and blocks against magpylib 6.3.0, and their closed forms on the axis.

use coilscore::coil::magnet::grade::{GRADES, Grade};
use coilscore::coil::magnet::{Block, Disc, Magnet};
use coilscore::coil::space::Vec3;
use coilscore::coil::turn::{MU0, field_per_amp};
use coilscore::units::Celsius;

use crate::agree::{Table, Worst};

#[test]
fn discs_match_magpylib_everywhere_outside_and_inside() {
    let mut worst = Worst::new("discs, random: magpylib", 1e-10);
    for row in Table::read(include_str!("data/magpylib_discs.csv")).rows() {
        let disc =
            Disc { radius_m: row.get("radius_m"), length_m: row.get("length_m"), remanence_t: 1.0 };
        let ours = disc.field(row.get("r_m"), row.get("z_m"));
        worst.parts((ours.br, ours.bz), (row.get("br_t"), row.get("bz_t")));
    }
    worst.print();
    let mut worst = Worst::new("disc 20 x 5 mm, 1.2 T: magpylib", 1e-10);
    let disc = Disc { radius_m: 0.01, length_m: 0.005, remanence_t: 1.2 };
    for row in Table::read(include_str!("data/field_cylinder_magnet.csv")).rows() {
        let z = row.get("gap_mm_from_top_face") * 1e-3;
        let ours = disc.field(row.get("r_mm") * 1e-3, z);
        worst.parts((ours.br, ours.bz), (row.get("Br_T_magpylib"), row.get("Bz_T_magpylib")));
        if let Some(axis) = row.maybe("Bz_T_onaxis_formula") {
            worst.number(disc.axis_t(z), axis);
        }
    }
    worst.print();
}

#[test]
fn blocks_match_magpylib_everywhere_outside_and_inside() {
    let mut worst = Worst::new("blocks, random: magpylib", 1e-10);
    for row in Table::read(include_str!("data/magpylib_blocks.csv")).rows() {
        let block = Block {
            width_m: row.get("width_m"),
            height_m: row.get("height_m"),
            length_m: row.get("length_m"),
            remanence_t: 1.0,
        };
        let at = Vec3::new(row.get("x_m"), row.get("y_m"), row.get("z_m"));
        let ours = block.local(at, Vec3::UP).field;
        worst.field(ours, Vec3::new(row.get("bx_t"), row.get("by_t"), row.get("bz_t")));
    }
    worst.print();
    let mut worst = Worst::new("block on its axis: closed form against corners", 1e-12);
    let block = Block { width_m: 0.02, height_m: 0.01, length_m: 0.004, remanence_t: 1.3 };
    for z in [1e-4, 1e-3, 5e-3, 20e-3] {
        let corners = block.local(Vec3::new(0.0, 0.0, z), Vec3::UP).field.z;
        worst.number(block.axis_t(z), corners);
    }
    worst.print();
}

/// The sheet of current summed turn by turn, by the midpoint rule with 20,000 turns.
#[test]
fn a_disc_is_a_stack_of_turns() {
    let disc = Disc { radius_m: 0.01, length_m: 0.005, remanence_t: 1.3 };
    let mut worst = Worst::new("disc: sheet of 20,000 turns", 1e-8);
    for (r, z) in [(0.0, 0.008), (0.004, 0.003), (0.01, 0.004), (0.014, -0.002)] {
        let steps = 20_000;
        let step = disc.length_m / f64::from(steps);
        let mut sum = (0.0, 0.0);
        for n in 0..steps {
            let turn = field_per_amp(0.01, r, z + (f64::from(n) + 0.5) * step);
            sum = (sum.0 + turn.br, sum.1 + turn.bz);
        }
        let amps = disc.remanence_t / MU0 * step;
        let ours = disc.field(r, z);
        worst.parts((ours.br, ours.bz), (sum.0 * amps, sum.1 * amps));
    }
    worst.print();
}

#[test]
fn grades_are_known_by_name_and_weaken_when_warm() {
    let n42 = Grade::named(" n42 ").unwrap();
    // Magnet makers' tables as quoted by others: -0.11 to -0.12 %/K for neodymium.
    let warm = n42.remanence_at(1.3, Celsius(55.0)) / 1.3;
    assert!((0.957..0.962).contains(&warm), "{warm}");
    assert!(Grade::named("N421").is_none());
    for grade in GRADES {
        assert!(grade.remanence_t.0 < grade.remanence_t.1 && grade.per_k < 0.0);
        assert_eq!(Grade::named(grade.name), Some(grade), "names are unlike each other");
    }
    let limits = [("N42", 80.0), ("N42M", 100.0), ("N42H", 120.0), ("N42SH", 150.0)];
    for (name, limit) in limits {
        assert_eq!(Grade::named(name).unwrap().limit_c, limit);
    }
}

#[test]
fn the_field_at_the_face_tells_the_strength() {
    let disc = Magnet::Disc(Disc { radius_m: 0.01, length_m: 0.005, remanence_t: 1.2 });
    assert!((disc.face_t() - 0.2683281573).abs() < 1e-10);
    assert_eq!(disc.with_remanence(0.6).face_t() * 2.0, disc.face_t());
    let side = 0.01 * core::f64::consts::PI.sqrt();
    let block = Block { width_m: side, height_m: side, length_m: 0.005, remanence_t: 1.2 };
    assert!((Magnet::Block(block).radius_m() - 0.01).abs() < 1e-15);
    assert!((Magnet::Block(block).face_t() / disc.face_t() - 1.0).abs() < 0.02);
}
