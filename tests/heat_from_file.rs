//! From sound to heat, with nothing shared in between: loud music becomes a duty file, the file is
//! decoded, and an independent plant with R(T), whose figures are off by a fifth, takes the heat.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    dead_code,
    reason = "tests stop at the first surprise; the plant serves other tests as well"
)]

mod common;

#[path = "budget_limits/plant.rs"]
mod plant;

use coilscore::analysis::Arith;
use coilscore::audio::tone::{Samples, pink_noise};
use coilscore::budget::{BudgetSettings, Start};
use coilscore::frame::record::Entry;
use coilscore::preset::prepare_display;
use coilscore::run::{Flow, RenderJob, render};
use coilscore::sink::file::open;
use coilscore::units::Rate;
use common::{HOT_RING, files, one_band};
use plant::Plant;

/// Eight times the slow time constant of the hot ring: 2 J/K at 15 K/W are 30 s.
const SOUND_S: usize = 240;
const SOUND_HZ: u32 = 8_000;

/// How far the real display may be from its file: heat capacities, heat paths, resistance, supply.
const ERRORS: [[f64; 4]; 5] = [
    [1.0, 1.0, 1.0, 1.0],
    [0.8, 0.8, 0.95, 1.05],
    [1.2, 0.8, 0.95, 1.05],
    [0.8, 1.2, 1.05, 0.95],
    [1.2, 1.2, 0.95, 1.05],
];

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
fn no_music_takes_a_display_past_its_limits() {
    // Always at full: every coil is asked for everything, all the time.
    let (mapping, display) = files(&one_band("ring", 100.0, 3000.0, -60.0, -50.0), HOT_RING);
    let rate = Rate::new(50, 1).unwrap();
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate,
        start: Start::Cold,
        arith: Arith::Native,
    };
    let sound = pink_noise(7, 0.2, SOUND_S * SOUND_HZ as usize);
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("loud.duty");
    let source = Box::new(Samples::mono(SOUND_HZ, sound));
    let report = render(source, &job, &out, &mut |_| Flow::Continue(())).unwrap();
    assert!(report.cut_heat_share > 0.5, "the display was never pressed: {report:?}");

    let (settings, _) = prepare_display(&display, rate, Start::Cold);
    let mut plants: Vec<(Plant, f64, f64)> =
        ERRORS.iter().map(|&error| (plant(&settings, error), 0.0, 0.0)).collect();
    let mut file = open(&out).unwrap();
    while let Some(entry) = file.next_entry().unwrap() {
        let Entry::Duty { codes, .. } = entry else { continue };
        let codes: Vec<i32> = codes.iter().map(|code| code.0).collect();
        for (plant, coil, backing) in &mut plants {
            plant.hold(&codes, rate.period().0, |rise| {
                let hottest = |nodes: &[f64]| nodes.iter().copied().fold(f64::MIN, f64::max);
                *coil = coil.max(25.0 + hottest(&rise[..24]));
                *backing = backing.max(25.0 + hottest(&rise[24..48]));
            });
        }
    }
    assert!(file.is_whole());
    for ((_, coil, backing), error) in plants.iter().zip(ERRORS) {
        assert!(*coil <= 80.0 && *backing <= 60.0, "{error:?}: winding {coil}, backing {backing}");
    }
    // And it is no toy that grants nothing: the exact plant comes close to the model's own bound.
    let (_, coil, backing) = &plants[0];
    let bound = coilscore::budget::Budget::new(&settings).unwrap().bound_c().to_vec();
    assert!(*backing > 25.0 + 0.80 * (bound[24] - 25.0), "backing {backing} of {}", bound[24]);
    assert!(*coil <= bound[0] + 1e-3 && *backing <= bound[24] + 1e-3);
}
