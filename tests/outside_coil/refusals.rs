//! What cannot be built, and the sentence each prints.

use coilscore::coil::fluid::Liquid;
use coilscore::coil::geometry::{SpiralShape, WireSize, WoundShape};
use coilscore::coil::lift::BiasError;
use coilscore::coil::sweep::Sweep;
use coilscore::coil::winding::{Level, Winding};
use coilscore::units::Celsius;

use crate::copper::{board_coil, wound_coil};

/// Its name, what spoils the shape, part of the sentence.
type Case<S> = (&'static str, fn(&mut S), &'static str);

#[test]
fn spirals_that_cannot_be_built_say_why() {
    let cases: Vec<Case<SpiralShape>> = vec![
        (
            "negative",
            |s| s.trace_mm = -0.5,
            "trace width is -0.5 mm, but 0.05 to 50 mm is what can be made",
        ),
        ("zero", |s| s.space_mm = 0.0, "space between traces is 0 mm"),
        ("nan", |s| s.inner_mm = f64::NAN, "inner diameter is NaN mm"),
        ("infinite", |s| s.outer_mm = f64::INFINITY, "outer diameter is inf mm"),
        ("metres", |s| s.outer_mm = 0.035, "outer diameter is 0.035 mm"),
        (
            "swapped",
            |s| s.inner_mm = 40.0,
            "inner diameter 40 mm is not below outer diameter 35 mm",
        ),
        ("equal", |s| s.inner_mm = 35.0, "is not below"),
        (
            "too wide",
            |s| s.trace_mm = 20.0,
            "no turn fits: one needs 20.000 mm, but there is 14.500 mm",
        ),
        ("no copper", |s| s.copper_um.clear(), "name at least one thickness"),
        ("millimetres", |s| s.copper_um[3] = 0.035, "write micrometres: 1 oz is about 35"),
        ("nan copper", |s| s.copper_um[0] = f64::NAN, "copper thickness is NaN um"),
        ("many", |s| s.copper_um = vec![35.0; 65], "number of layers is 65 layers, but 1 to 64"),
        (
            "touching",
            |s| s.layer_pitch_mm = 0.03,
            "layers of 35 um copper cannot lie 0.03 mm apart",
        ),
        ("no pitch", |s| s.layer_pitch_mm = 0.0, "layer pitch is 0 mm"),
    ];
    for (name, spoil, sentence) in cases {
        let mut shape = board_coil();
        spoil(&mut shape);
        let error = shape.wind().unwrap_err().to_string();
        println!("{name:<12} {error}");
        assert!(error.contains(sentence), "{name}: {error}");
    }
    let fine = SpiralShape { trace_mm: 0.05, space_mm: 0.05, outer_mm: 500.0, ..board_coil() };
    assert!(fine.wind().unwrap_err().to_string().contains("turns are more than 20000"));
}

#[test]
fn wound_coils_that_cannot_be_built_say_why() {
    let cases: Vec<Case<WoundShape>> = vec![
        ("gauge", |s| s.wire = WireSize::Awg(80), "wire gauge is 80 AWG, but 4 to 50 AWG"),
        ("thin", |s| s.wire = WireSize::Metric(0.0), "wire diameter is 0 mm"),
        ("nan", |s| s.wire = WireSize::Metric(f64::NAN), "wire diameter is NaN mm"),
        ("enamel", |s| s.enamel_um = -1.0, "enamel is -1 um"),
        ("short", |s| s.length_mm = 0.2, "there is 0.200 mm between the flanges"),
        ("no room", |s| s.outer_mm = 8.1, "mm between core and outside"),
        ("backwards", |s| s.outer_mm = 5.0, "inner diameter 8 mm is not below outer diameter 5 mm"),
        ("length", |s| s.length_mm = f64::NEG_INFINITY, "winding length is -inf mm"),
    ];
    for (name, spoil, sentence) in cases {
        let mut shape = wound_coil();
        spoil(&mut shape);
        let error = shape.wind().unwrap_err().to_string();
        println!("{name:<12} {error}");
        assert!(error.contains(sentence), "{name}: {error}");
    }
    let huge = WoundShape { outer_mm: 400.0, length_mm: 400.0, ..wound_coil() };
    assert!(huge.wind().unwrap_err().to_string().contains("check units and wire size"));
}

#[test]
fn windings_without_sense_are_not_built() {
    let level = Level { area_m2: 1e-8, mean_radius_m: 1e-4 };
    assert!(Winding::new(vec![], vec![level], 1e-3).is_none());
    assert!(Winding::new(vec![0.01], vec![], 1e-3).is_none());
    assert!(Winding::new(vec![-0.01], vec![level], 1e-3).is_none());
    assert!(Winding::new(vec![0.01], vec![level; 2], f64::NAN).is_none());
    assert!(Winding::new(vec![0.01], vec![level], 0.0).is_some(), "one level has no pitch");
}

#[test]
fn liquids_outside_their_tables_are_refused() {
    let at = |liquid: Liquid, c: f64| liquid.density(Celsius(c)).map_err(|e| e.to_string());
    let salt = |percent| Liquid::SaltWater { nacl_percent: percent };
    for (liquid, c, sentence) in [
        (salt(26.1), 20.0, "26.1 % salt: 0 to 26 %"),
        (salt(-1.0), 20.0, "-1 % salt"),
        (salt(f64::NAN), 20.0, "NaN % salt"),
        (salt(10.0), 61.0, "61 C: densities are known from 0 to 60 C"),
        (salt(10.0), f64::NAN, "NaN C"),
        (Liquid::SeaWater { salinity: 43.0 }, 20.0, "salinity 43"),
        (Liquid::Known { kg_per_m3: 0.0, expansion_per_k: 0.0 }, 20.0, "what a litre weighs"),
    ] {
        let error = at(liquid, c).unwrap_err();
        println!("{error}");
        assert!(error.contains(sentence), "{error}");
    }
}

#[test]
fn sweeps_that_make_no_sense_say_how_to_write_them() {
    for (text, sentence) in [
        ("layers", "write NAME=FROM..TO"),
        ("layers=2", "write NAME=FROM..TO"),
        ("layers=a..b", "'layers=a..b' is not a sweep"),
        ("height=1..2", "'height' cannot be varied: layers, copper"),
        ("trace=1..0.5", "1 to 0.5 in steps of"),
        ("trace=0.1..1:0", "in steps of 0"),
        ("trace=0.1..1:0.0001", "2 to 200 values"),
        ("trace=nan..1", "2 to 200 values"),
        ("trace=0.1..inf", "2 to 200 values"),
        ("layers=2..8:0.5", "layers goes in whole steps, not 0.5"),
        ("awg=20.5..30", "awg goes in whole steps"),
    ] {
        let error = text.parse::<Sweep>().unwrap_err().to_string();
        println!("{text:<22} {error}");
        assert!(error.contains(sentence), "{text}: {error}");
    }
    let sweep: Sweep = "awg=20..30".parse().unwrap();
    let spiral = coilscore::coil::geometry::Shape::Spiral(board_coil());
    let error = sweep.apply(&spiral, 24.0).unwrap_err().to_string();
    assert_eq!(error, "a spiral has no awg to vary");
}

#[test]
fn impossible_biases_say_what_there_is() {
    let share = BiasError::Share { share: 1.5 }.to_string();
    assert!(share.contains("at 1 the magnet lifts alone"), "{share}");
}
