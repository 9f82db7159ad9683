//! The independent plant takes the heat of what was planned.

use coilscore::budget::{BudgetSettings, Start};
use coilscore::preset::prepare_display;
use coilscore::units::Rate;

use super::common::{HOT_RING, files, one_band};
use super::plant::Plant;
use super::{RATE, bursts, job, piece, planned, read};

/// Four songs of a minute: eight times the slow time constant of the hot ring (2 J/K at 15 K/W).
const SONGS: usize = 4;

/// How far the real display may be from its file: heat capacities, heat paths, resistance, supply.
const ERRORS: [[f64; 4]; 3] =
    [[1.0, 1.0, 1.0, 1.0], [0.8, 0.8, 0.95, 1.05], [1.2, 0.8, 0.95, 1.05]];

fn plant(settings: &BudgetSettings, [heat, paths, ohms, volts]: [f64; 4]) -> Plant {
    let mut plant = Plant::new(settings);
    plant.heat.iter_mut().for_each(|capacity| *capacity *= heat);
    plant.paths.iter_mut().for_each(|(_, _, conductance)| *conductance *= paths);
    for coil in &mut plant.coils {
        coil.ohms_at_reference *= ohms;
        coil.volts *= volts;
    }
    plant
}

#[test]
fn a_planned_evening_passes_no_limit_and_ends_near_it() {
    let (mapping, display) = files(&one_band("ring", 100.0, 3000.0, -60.0, -30.0), HOT_RING);
    let dir = tempfile::tempdir().unwrap();
    let outs: Vec<_> = (0..SONGS).map(|n| dir.path().join(format!("{n}.duty"))).collect();
    let pieces = outs.iter().map(|out| piece(bursts(60), 4096, out)).collect();
    let run = planned(pieces, &job(&mapping, &display, Start::Cold));
    assert!(!run.plan.gains.is_empty(), "the display was never pressed");
    let (settings, _) = prepare_display(&display, Rate::new(RATE, 1).unwrap(), Start::Cold);
    let mut plants: Vec<(Plant, f64, f64)> =
        ERRORS.iter().map(|&error| (plant(&settings, error), 0.0, 0.0)).collect();
    let frame_s = 1.0 / f64::from(RATE);
    for out in &outs {
        for codes in read(out).1 {
            for (plant, coil, backing) in &mut plants {
                plant.hold(&codes, frame_s, |rise| {
                    let hottest = |nodes: &[f64]| nodes.iter().copied().fold(f64::MIN, f64::max);
                    *coil = coil.max(25.0 + hottest(&rise[..24]));
                    *backing = backing.max(25.0 + hottest(&rise[24..48]));
                });
            }
        }
    }
    for ((_, coil, backing), error) in plants.iter().zip(ERRORS) {
        assert!(*coil <= 80.0 && *backing <= 60.0, "{error:?}: winding {coil}, backing {backing}");
    }
    let bound = coilscore::budget::Budget::new(&settings).unwrap().bound_c().to_vec();
    let (_, coil, backing) = &plants[0];
    assert!(*coil <= bound[0] + 1e-3 && *backing <= bound[24] + 1e-3, "{coil} {backing}");
    // The plant has neither margin nor power factor, so it stays below the model's own bound.
    assert!(*coil > 25.0 + 0.7 * (bound[0] - 25.0), "winding {coil} of {}", bound[0]);
}
