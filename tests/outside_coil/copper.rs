//! Geometry and resistance: wire tables, board copper, and worked coils.

use coilscore::coil::geometry::{Group, Shape, SpiralShape, WireSize, WoundShape};
use coilscore::coil::iron::Iron;
use coilscore::coil::resistance::{at_20_c, copper_g};
use coilscore::units::{Henries, Ohms};

use crate::agree::{Table, Worst};

/// An invented board coil that the worked figures of several tests belong to.
pub(crate) fn board_coil() -> SpiralShape {
    SpiralShape {
        inner_mm: 6.0,
        outer_mm: 35.0,
        trace_mm: 0.55,
        space_mm: 0.15,
        copper_um: vec![35.0; 12],
        layer_pitch_mm: 0.16,
    }
}

pub(crate) fn wound_coil() -> WoundShape {
    WoundShape {
        inner_mm: 8.0,
        outer_mm: 20.0,
        length_mm: 12.0,
        wire: WireSize::Metric(0.3),
        enamel_um: 20.0,
    }
}

#[test]
fn wire_gauges_match_the_tables() {
    // d, area and ohm/km: formula of ASTM B258, rho = 1/58. ohm/1000 ft: a published wire table
    // (Floyd's, as HyperPhysics prints it).
    let mut computed = Worst::new("AWG 10 to 44, diameter, area, ohm/km: computed", 2e-5);
    let mut published = Worst::new("AWG 20 to 40, ohm/1000 ft: published table", 3e-4);
    for row in Table::read(include_str!("data/awg.csv")).rows() {
        let gauge = row.get("AWG") as u32;
        let d_mm = WireSize::Awg(gauge).diameter_mm();
        computed.number(d_mm, row.get("d_mm"));
        // One metre in one turn, so that the library does the work.
        let one = WoundShape {
            inner_mm: 1000.0 / core::f64::consts::PI - d_mm,
            outer_mm: 1000.0 / core::f64::consts::PI + d_mm * 1.5,
            length_mm: (d_mm * 1.5).max(0.1),
            wire: WireSize::Awg(gauge),
            enamel_um: 0.0,
        };
        let one = one.wind().unwrap();
        assert_eq!((one.turns(), (one.length_m() * 1e9).round()), (1, 1e9));
        computed.number(one.levels()[0].area_m2 * 1e6, row.get("area_mm2"));
        let ohm_per_km = at_20_c(&one).0 * 1e3;
        computed.number(ohm_per_km, row.get("ohm_per_km_20C_IACS"));
        if let Some(table) = row.maybe("looked_up_table_ohm_per_1000ft") {
            published.number(ohm_per_km * 0.3048, table);
        }
    }
    computed.print();
    published.print();
}

#[test]
fn sheets_of_foil_match_computed_squares() {
    // mohm per square at 20 C, rho = 1/58: computed.
    for (um, milliohm) in [(17.1, 1.00827), (34.3, 0.50266), (35.0, 0.49261), (68.6, 0.25133)] {
        // A single wide turn: length over width are its squares.
        let spiral = SpiralShape {
            inner_mm: 99.0,
            outer_mm: 101.0,
            trace_mm: 1.0,
            space_mm: 1.0,
            copper_um: vec![um],
            layer_pitch_mm: 0.0,
        };
        let squares = core::f64::consts::PI * 100.0;
        let ours = at_20_c(&spiral.wind().unwrap()).0 * 1e3 / squares;
        assert!((ours / milliohm - 1.0).abs() < 1e-5, "{um} um: {ours}");
    }
}

/// 12 layers of 20 turns: 13.4046 ohm (at 1.7241e-8 ohm m), 0.880455 mH in air, L/R 117.072 us in front of
/// thick iron of permeability 1000, 0.25 mm behind the last layer. Worked with numpy and scipy.
#[test]
fn the_board_coil_comes_out_as_worked() {
    let shape = board_coil();
    assert_eq!(shape.turns_per_layer(), Ok(20));
    let coil = shape.wind().unwrap();
    assert_eq!((coil.turns(), coil.levels().len()), (240, 12));
    let ohms = at_20_c(&coil).0;
    assert!((ohms * 1.7241 * 0.58 / 13.4046 - 1.0).abs() < 3e-6, "{ohms}");
    let air = coil.inductance(None).0;
    assert!((air / 0.880455e-3 - 1.0).abs() < 1e-6, "{air:e}");
    let iron = Iron::Weight { face_z_m: -11.0 * 0.16e-3 - 0.25e-3, weight: 999.0 / 1001.0 };
    let tau = coil.inductance(Some(&iron)).0 / 13.4046;
    assert!((tau / 117.072e-6 - 1.0).abs() < 5e-6, "{tau:e}");
    let mean_radius_m = 3e-3 + 0.275e-3 + 9.5 * 0.7e-3;
    let length_m = 240.0 * 2.0 * core::f64::consts::PI * mean_radius_m;
    assert!((coil.length_m() / length_m - 1.0).abs() < 1e-12);
    assert!((copper_g(&coil) / (length_m * 0.55e-3 * 35e-6 * 8.89e6) - 1.0).abs() < 1e-12);
}

/// 120 turns: wire 2.827433 m per layer pair sum, 5.571297 ohm with 0.25 mm x 35 um (computed).
#[test]
fn the_small_board_coil_comes_out_as_computed() {
    let shape = SpiralShape {
        inner_mm: 4.1,
        outer_mm: 11.1,
        trace_mm: 0.25,
        space_mm: 0.1,
        copper_um: vec![35.0; 12],
        layer_pitch_mm: 0.13,
    };
    let coil = shape.wind().unwrap();
    assert_eq!(coil.turns(), 120);
    assert!((coil.length_m() - 2.827433).abs() < 1e-6);
    assert!((at_20_c(&coil).0 - 5.571297).abs() < 2e-6, "{}", at_20_c(&coil));
    assert!((coil.inductance(None).0 * 1e6 - 91.681).abs() < 6e-4);
}

#[test]
fn layers_of_unequal_copper_add_up() {
    let thick_and_thin = SpiralShape { copper_um: vec![70.0, 35.0], ..board_coil() };
    let one = SpiralShape { copper_um: vec![35.0], ..board_coil() };
    let (both, one) = (thick_and_thin.wind().unwrap(), one.wind().unwrap());
    assert!((at_20_c(&both).0 / at_20_c(&one).0 - 1.5).abs() < 1e-12);
}

#[test]
fn uncertainty_follows_the_standards_for_finished_copper() {
    // IPC-6012 as quoted by board makers: inner layers of 34.3 um foil may end at 24.9 um.
    let bare = |copper_um: Vec<f64>, trace_mm| {
        let shape = SpiralShape { copper_um, trace_mm, outer_mm: 60.0, ..board_coil() };
        Shape::Spiral(shape).resistance().unwrap()
    };
    let board = bare(vec![34.3; 12], 5.0);
    // Two outer layers at 1/0.95, ten inner ones at 34.3/24.9; edges 25 um of 5 mm; copper 97 %.
    let high = (2.0 / 0.95 + 10.0 * 34.3 / 24.9) / 12.0 / 0.995 / 0.97;
    assert!((board.high.0 / board.nominal.0 - high).abs() < 1e-9);
    assert!(board.low.0 < board.nominal.0 && board.wants_measurement());
    let advice = board.advice().unwrap();
    assert!(advice.contains("measure it with four leads"), "{advice}");
    let narrow = bare(vec![34.3; 12], 0.1);
    assert!(narrow.spread() > board.spread(), "etching counts more on narrow traces");
    // Half-ounce foil loses more of itself, two-ounce foil less.
    let shares: Vec<f64> = [17.1, 34.3, 68.6]
        .map(|um| bare(vec![um; 12], 5.0))
        .iter()
        .map(|band| band.high.0 / band.nominal.0)
        .collect();
    assert!(shares[0] > shares[1] && shares[1] > shares[2], "{shares:?}");
    let wound = Shape::Wound(wound_coil()).resistance().unwrap();
    assert!(wound.low.0 / wound.nominal.0 > 0.9 && wound.high.0 / wound.nominal.0 < 1.13);
}

#[test]
fn a_wound_coil_is_packed_row_over_row() {
    let shape = wound_coil();
    // 0.34 mm with enamel: 35 along 12 mm, 17 in 6 mm.
    assert_eq!(shape.rows(), Ok((35, 17)));
    let coil = shape.wind().unwrap();
    assert_eq!(coil.turns(), 595);
    assert!((coil.radii_m()[0] - 4.17e-3).abs() < 1e-12);
    assert!((coil.depth_m() - 34.0 * 0.34e-3).abs() < 1e-12);
    let (ours, mean) = (coil.inductance(None).0, 4e-3 + 8.5 * 0.34e-3);
    let wheeler =
        coilscore::coil::inductance::wheeler_wound(595.0, mean, 35.0 * 0.34e-3, 17.0 * 0.34e-3).0;
    assert!((ours / wheeler - 1.0).abs() < 0.03, "{ours:e} {wheeler:e}");
}

#[test]
fn groups_keep_their_time_constant() {
    let group = Group::new(4, 2).unwrap();
    let (r, l) = group.load(Ohms(10.0), Henries(1e-3));
    assert_eq!((r, l), (Ohms(20.0), Henries(2e-3)));
    assert_eq!(group.current_share(), 0.5);
    assert_eq!((Group::new(0, 1), Group::new(1, 0)), (None, None));
}
