//! Hours: wrong figures, restarts, bad starts.

use coilscore::budget::{Budget, BudgetSettings, Start};
use coilscore::units::{Celsius, CoilId, Ohms, Seconds, Share, WattsPerKelvin};

use super::nets::{Dice, display, worked_coil};
use super::plant::Plant;

fn with_neighbours(mut settings: BudgetSettings) -> BudgetSettings {
    for coil in 1..settings.coils.len() {
        settings.neighbours.push(coilscore::budget::Neighbours {
            a: CoilId(coil as u32 - 1),
            b: CoilId(coil as u32),
            coils: WattsPerKelvin(0.0),
            backings: WattsPerKelvin(0.15),
        });
    }
    settings
}

fn codes_of(budget: &mut Budget, wishes: &[Share]) -> Vec<i32> {
    budget.permit(wishes).iter().map(|duty| duty.code()).collect()
}

/// Every coil off by the same figures: heat capacities and resistances by up to a fifth, winding
/// and supply by up to a twentieth.
fn wrong(settings: &BudgetSettings, error: [f64; 6]) -> Plant {
    let mut plant = Plant::new(settings);
    let n = settings.coils.len();
    let [coil, backing, inner, outer, ohms, volts] = error;
    for (i, heat) in plant.heat.iter_mut().enumerate() {
        *heat *= if i < n { coil } else { backing };
    }
    for (a, b, conductance) in &mut plant.paths {
        let to_backing = *a < n && b.is_some_and(|b| b >= n);
        *conductance /= if to_backing { inner } else { outer };
    }
    for own in &mut plant.coils {
        own.ohms_at_reference *= ohms;
        own.volts *= volts;
    }
    plant
}

/// Eight slow time constants of full wish: shorter runs do not reach the temperatures that count.
#[test]
fn figures_off_by_a_fifth_stay_within_the_limits() {
    let coil = |margin: f64, power_scale: f64| {
        let mut coil = worked_coil(90.0, 65.0);
        (coil.margin, coil.power_scale) = (margin, power_scale);
        coil
    };
    let hottest = |margin: f64, power_scale: f64| -> f64 {
        let settings = with_neighbours(display(2, vec![coil(margin, power_scale); 4]));
        let mut dice = Dice(20);
        let mut draw = |by: f64| 1.0 + by * dice.between(-1.0, 1.0);
        let mut plants: Vec<Plant> = (0..12)
            .map(|_| wrong(&settings, [0.2, 0.2, 0.2, 0.2, 0.05, 0.05].map(&mut draw)))
            .collect();
        for corner in 0..4 {
            let sign = |bit: i32| if corner >> bit & 1 == 1 { 1.2 } else { 0.8 };
            plants.push(wrong(&settings, [sign(0), sign(1), 1.2, 1.2, 0.95, 1.05]));
        }
        let mut budget = Budget::new(&settings).unwrap();
        let mut worst: f64 = 0.0;
        for _ in 0..2 * 3600 {
            let codes = codes_of(&mut budget, &[Share::ALL; 4]);
            for plant in &mut plants {
                plant.hold(&codes, 0.5, |rise| {
                    let part = |(i, rise): (usize, &f64)| rise / if i < 4 { 65.0 } else { 40.0 };
                    worst = rise.iter().enumerate().map(part).fold(worst, f64::max);
                });
            }
        }
        worst
    };
    assert!(hottest(0.25, 1.16) <= 1.0, "the default margins are too small");
    assert!(hottest(0.0, 1.0) > 1.1, "the errors drawn here would not show a missing margin");
}

/// A program that is killed and started again knows nothing of the heat it left behind.
#[test]
fn a_restart_every_ten_seconds_never_passes_a_limit() {
    let mut settings = with_neighbours(display(10, vec![worked_coil(90.0, 60.0); 3]));
    settings.start = Start::Unknown;
    settings.hold_s = Seconds(0.25);
    let mut plant = Plant::new(&settings);
    let mut budget = Budget::new(&settings).unwrap();
    let bound: Vec<f64> = budget.bound_c().iter().map(|c| c - 25.0).collect();
    for frame in 0..72_000 {
        if frame % 100 == 0 {
            budget = Budget::new(&settings).unwrap();
        }
        let codes = codes_of(&mut budget, &[Share::ALL; 3]);
        plant.hold(&codes, 0.1, |rise| {
            assert!(rise.iter().zip(&bound).all(|(r, b)| r <= b), "frame {frame}: {rise:?}");
        });
    }
    assert!(plant.rise[0] > 0.97 * bound[0], "nothing was granted: {:?}", plant.rise);
}

#[test]
fn a_display_that_starts_too_hot_cools_into_its_box() {
    for seed in 0..12 {
        let mut dice = Dice(seed);
        let mut settings = with_neighbours(display(20, vec![worked_coil(90.0, 60.0); 4]));
        settings.hold_s = Seconds(0.25);
        let start = (0..8).map(|_| Celsius(dice.between(25.0, 120.0))).collect();
        settings.start = Start::Nodes(start);
        let mut budget = Budget::new(&settings).unwrap();
        let mut plant = Plant::new(&settings).at(budget.load().node_c);
        let bound: Vec<f64> = budget.bound_c().iter().map(|c| c - 25.0).collect();
        let stretch =
            |rise: &[f64]| rise.iter().zip(&bound).map(|(r, b)| r / b).fold(0.0, f64::max);
        let mut before = stretch(&plant.rise);
        for frame in 0..20 * 3600 {
            let codes = codes_of(&mut budget, &[Share::ALL; 4]);
            let was_out = before > 1.0 + 1e-6;
            plant.hold(&codes, 0.05, |_| {});
            let now = stretch(&plant.rise);
            assert!(now <= before.max(1.0) + 1e-7, "seed {seed} frame {frame}: {before} to {now}");
            if was_out {
                let out = |i: usize| plant.rise[i] > bound[i] * (1.0 + 1e-4);
                assert!((0..4).all(|i| codes[i] == 0 || !out(i)), "an overheated coil was driven");
            }
            before = now;
        }
        assert!(before <= 1.0 + 1e-3, "seed {seed}: still at {before} after an hour");
        assert!(codes_of(&mut budget, &[Share::ALL; 4]).iter().any(|&code| code > 0));
    }
}

#[test]
fn colder_than_the_room_is_safe() {
    let mut settings = display(20, vec![worked_coil(90.0, 65.0)]);
    settings.start = Start::Nodes(vec![Celsius(0.0), Celsius(0.0)]);
    settings.coils[0].resistance = Ohms(9.0);
    let mut budget = Budget::new(&settings).unwrap();
    let mut plant = Plant::new(&settings).at(&[0.0, 0.0]);
    let bound: Vec<f64> = budget.bound_c().iter().map(|c| c - 25.0).collect();
    for _ in 0..20 * 900 {
        let codes = codes_of(&mut budget, &[Share::ALL]);
        plant.hold(&codes, 0.05, |rise| {
            assert!(rise.iter().zip(&bound).all(|(r, b)| r <= b), "{rise:?}");
        });
    }
}
