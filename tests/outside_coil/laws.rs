//! What every field must obey, for random coils, magnets and places.

use coilscore::coil::iron::Iron;
use coilscore::coil::magnet::{Block, Disc, Magnet};
use coilscore::coil::space::{Local, Vec3};
use coilscore::coil::turn::{field_per_amp, mutual};
use proptest::prelude::*;

use crate::loops::winding;

const X: Vec3 = Vec3::new(1.0, 0.0, 0.0);
const Y: Vec3 = Vec3::new(0.0, 1.0, 0.0);
const Z: Vec3 = Vec3::new(0.0, 0.0, 1.0);

/// Field of something at a place, with its change along a direction.
type Source = Box<dyn Fn(Vec3, Vec3) -> Local>;

fn sources(size: f64, length: f64) -> [(&'static str, Source); 3] {
    let coil = winding(0.4 * size, 0.1 * size, 0.15 * size, 4, 3, 0.05 * size);
    let disc = Magnet::Disc(Disc { radius_m: size, length_m: length, remanence_t: 1.3 });
    let block = Magnet::Block(Block {
        width_m: size,
        height_m: 1.7 * size,
        length_m: length,
        remanence_t: 1.3,
    });
    [
        ("coil", Box::new(move |at, along| coil.local_per_amp(None, at, along))),
        ("disc", Box::new(move |at, along| disc.local(at, along))),
        ("block", Box::new(move |at, along| block.local(at, along))),
    ]
}

/// Change of the field by differences of fourth order.
fn differences(source: &Source, at: Vec3, along: Vec3, h: f64) -> Vec3 {
    let field = |steps: f64| source(at + along * (steps * h), along).field;
    (field(1.0) - field(-1.0)) * (8.0 / (12.0 * h))
        - (field(2.0) - field(-2.0)) * (1.0 / (12.0 * h))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn divergence_and_curl_are_nothing_and_slopes_are_right(
        size in 3e-3..2e-2_f64, length in 2e-3..2e-2_f64,
        x in -2.0..2.0_f64, y in -2.0..2.0_f64, z in 0.2..2.0_f64,
    ) {
        let at = Vec3::new(x, y, z) * size;
        for (name, source) in sources(size, length) {
            let [by_x, by_y, by_z] = [X, Y, Z].map(|along| differences(&source, at, along, 1e-3 * size));
            let scale = by_x.length() + by_y.length() + by_z.length();
            prop_assert!((by_x.x + by_y.y + by_z.z).abs() < 1e-7 * scale, "{name}: divergence");
            let curl = Vec3::new(by_y.z - by_z.y, by_z.x - by_x.z, by_x.y - by_y.x);
            prop_assert!(curl.length() < 1e-7 * scale, "{name}: curl");
            for (along, by) in [(X, by_x), (Y, by_y), (Z, by_z)] {
                let slope = source(at, along).slope;
                prop_assert!((slope - by).length() < 1e-7 * scale, "{name}: {slope:?} for {by:?}");
            }
            let askew = Vec3::new(0.36, 0.48, 0.8);
            let mixed = by_x * 0.36 + by_y * 0.48 + by_z * 0.8;
            prop_assert!((source(at, askew).slope - mixed).length() < 1e-7 * scale, "{name}");
        }
    }

    #[test]
    fn mirrored_places_have_mirrored_fields(
        size in 3e-3..2e-2_f64, x in -2.0..2.0_f64, y in -2.0..2.0_f64, z in 0.2..2.0_f64,
    ) {
        for (name, source) in sources(size, size) {
            let here = source(Vec3::new(x, y, z) * size, Y).field;
            let there = source(Vec3::new(-x, y, z) * size, Y).field;
            let off = (here - Vec3::new(-there.x, there.y, there.z)).length();
            prop_assert!(off <= 1e-12 * here.length(), "{name}: {off:e}");
        }
        let (front, back) = (field_per_amp(size, x.abs() * size, z), field_per_amp(size, x.abs() * size, -z));
        prop_assert!((front.bz - back.bz).abs() <= 1e-13 * front.bz.abs());
        prop_assert!((front.br + back.br).abs() <= 1e-13 * front.br.abs());
    }

    #[test]
    fn mutual_inductance_is_mutual_and_smaller_than_flux_limits(
        a in 1e-3..0.1_f64, b in 1e-3..0.1_f64, distance in 1e-4..0.2_f64,
    ) {
        let (one, other) = (mutual(a, b, distance), mutual(b, a, distance));
        prop_assert!((one - other).abs() <= 1e-13 * one);
        prop_assert!(one > 0.0 && mutual(a, b, distance * 1.01) < one);
    }

    /// Faraday: M is the flux that one turn sends through the other.
    #[test]
    fn mutual_inductance_is_flux(a in 5e-3..0.05_f64, b in 5e-3..0.05_f64, distance in 4e-3..0.05_f64) {
        // Midpoint rule over the disc of the other turn.
        let rings = 4000;
        let step = b / f64::from(rings);
        let flux: f64 = (0..rings)
            .map(|n| {
                let r = (f64::from(n) + 0.5) * step;
                field_per_amp(a, r, distance).bz * 2.0 * core::f64::consts::PI * r * step
            })
            .sum();
        let ours = mutual(a, b, distance);
        prop_assert!((flux / ours - 1.0).abs() < 2e-6, "{flux:e} {ours:e}");
    }

    #[test]
    fn iron_only_helps_on_the_axis_and_never_doubles(
        gap in 0.0..3e-3_f64, z in 1e-3..3e-2_f64, thick in 1e-3..1e-2_f64, radius in 1e-2..5e-2_f64,
    ) {
        let coil = winding(6e-3, 0.5e-3, 0.7e-3, 12, 4, 0.2e-3);
        let air = coil.field_per_amp(None, 0.0, z).bz;
        let mut last = air;
        for mu_r in [2.0, 30.0, 1000.0] {
            let iron = Iron::Plate { face_z_m: -0.6e-3 - gap, thickness_m: thick, radius_m: radius, mu_r };
            let with = coil.field_per_amp(Some(&iron), 0.0, z).bz;
            prop_assert!(with > last && with < 2.0 * air, "{mu_r}: {with} after {last}");
            last = with;
        }
    }

    #[test]
    fn slopes_of_a_coil_with_iron_follow_the_field(
        z in 2e-3..2e-2_f64, r in 0.0..2e-2_f64, radius in 1e-2..4e-2_f64,
    ) {
        let coil = winding(6e-3, 0.5e-3, 0.7e-3, 12, 4, 0.2e-3);
        let iron = Iron::Plate { face_z_m: -1e-3, thickness_m: 5e-3, radius_m: radius, mu_r: 1000.0 };
        let at = |r: f64, z: f64| coil.field_per_amp(Some(&iron), r, z);
        let (here, h) = (at(r, z), 1e-6);
        let by_z = (at(r, z + h).bz - at(r, z - h).bz) / (2.0 * h);
        let by_r = (at(r + h, z).bz - at((r - h).abs(), z).bz) / (h + r - (r - h).abs());
        let scale = here.bz.abs() / z + here.br.abs() / z;
        prop_assert!((here.bz_by_z - by_z).abs() < 1e-5 * scale);
        prop_assert!(r < h || (here.bz_by_r - by_r).abs() < 1e-5 * scale);
    }
}
