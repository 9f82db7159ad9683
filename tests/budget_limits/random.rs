//! Random displays under hostile wishes.

use coilscore::budget::{Budget, BudgetSettings, Polarity, Pull};
use coilscore::units::Share;
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestRunner};

use super::nets::{Demand, Dice, random, with_laws};
use super::plant::Plant;

/// What the heat tick may hide from the model (the order of frames within it), K.
const TICK_K: f64 = 5e-5;

/// A display under one demand with its judge.
struct Trial {
    settings: BudgetSettings,
    budget: Budget,
    plant: Plant,
    demand: Demand,
    dice: Dice,
    frame: u64,
    wishes: Vec<Share>,
    codes: Vec<i32>,
    /// Highest rise of any node over its bound so far, K.
    worst: f64,
}

impl Trial {
    fn new(seed: u64, coils: usize) -> Self {
        let mut dice = Dice(seed);
        let settings = random(&mut dice, coils);
        let budget = Budget::new(&settings).unwrap();
        let plant = Plant::new(&settings).at(budget.load().node_c);
        let demand = Demand::any(&mut dice);
        Self {
            budget,
            plant,
            demand,
            dice,
            frame: 0,
            wishes: vec![Share::NONE; coils],
            codes: vec![0; coils],
            settings,
            worst: f64::NEG_INFINITY,
        }
    }

    /// The same with coils that lift fluid by known laws.
    fn lifting(seed: u64, coils: usize) -> Self {
        let mut trial = Self::new(seed, coils);
        with_laws(&mut trial.dice, &mut trial.settings);
        trial.budget = Budget::new(&trial.settings).unwrap();
        trial
    }

    fn step(&mut self) {
        let mut demand = self.demand;
        if self.dice.unit() < 0.002 {
            demand = Demand::any(&mut self.dice);
            self.demand = demand;
        }
        demand.wishes(&mut self.dice, self.frame, &mut self.wishes);
        let cut_before = self.budget.totals().cut_heat.to_vec();
        let duties = self.budget.permit(&self.wishes);
        self.codes.iter_mut().zip(duties).for_each(|(code, duty)| *code = duty.code());
        self.check_codes(&cut_before);
        let frame_s = self.settings.frame_rate.period().0;
        let bound = rises(&self.settings, self.budget.bound_c());
        let worst = &mut self.worst;
        self.plant.hold(&self.codes, frame_s, |rise| *worst = worst.max(over(rise, &bound)));
        self.frame += 1;
    }

    /// Never more than wished, the right way round, and everything up to the floor.
    fn check_codes(&self, cut_before: &[f64]) {
        let floor_share = self.budget.floor_share();
        for (i, coil) in self.settings.coils.iter().enumerate() {
            if coil.pull != Pull::Straight {
                // What it asks for is its own affair; what heat leaves it is at least the floor.
                let cut = self.budget.totals().cut_heat[i] > cut_before[i];
                let next = super::plant::heat_of(&self.plant.coils[i], self.codes[i].abs() + 1);
                let least = floor_share.min(1.0) - 3e-4;
                assert!(
                    !cut || self.codes[i] == 0 || next > least,
                    "coil {i}: cut below the floor"
                );
                continue;
            }
            let wish = self.wishes[i].get();
            let heard = if coil.polarity == Polarity::Unipolar { wish.max(0.0) } else { wish };
            let asked = (heard.abs() * f64::from(coil.steps) + 1e-9).floor() as i32;
            let code = self.codes[i];
            assert!(code.abs() <= asked, "coil {i}: {code} for a wish of {wish}");
            assert!(code == 0 || (code > 0) == (wish > 0.0), "coil {i}: {code} for {wish}");
            let share = super::plant::heat_of(&self.plant.coils[i], asked);
            if share <= floor_share - 3e-4 {
                assert_eq!(code.abs(), asked, "coil {i}: cut below the floor at {wish}");
            }
        }
    }

    /// If no further frame came now, the driver would hold this one.
    fn check_hold(&self) {
        let mut plant = self.plant.clone();
        let bound = rises(&self.settings, self.budget.bound_c());
        let mut worst = f64::NEG_INFINITY;
        plant.hold(&self.codes, self.settings.hold_s.0, |rise| {
            worst = worst.max(over(rise, &bound))
        });
        assert!(worst <= TICK_K, "held: {worst} K over, {:?}", self.demand);
    }
}

fn rises(settings: &BudgetSettings, node_c: &[f64]) -> Vec<f64> {
    node_c.iter().map(|c| c - settings.room.0).collect()
}

fn over(rise: &[f64], bound: &[f64]) -> f64 {
    rise.iter().zip(bound).map(|(r, b)| r - b).fold(f64::NEG_INFINITY, f64::max)
}

fn hurt(coils: usize, cases: u32, frames: u64) {
    hurt_all(Trial::new, coils, cases, frames);
}

fn hurt_all(trial: fn(u64, usize) -> Trial, coils: usize, cases: u32, frames: u64) {
    let config = ProptestConfig {
        cases,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(7),
        ..ProptestConfig::default()
    };
    TestRunner::new(config)
        .run(&any::<u64>(), |seed| {
            let mut trial = trial(seed, coils);
            for frame in 0..frames {
                trial.step();
                if frame % 7 == seed % 7 {
                    trial.check_hold();
                }
                let (worst, demand) = (trial.worst, trial.demand);
                prop_assert!(worst <= TICK_K, "{worst} K over at frame {frame}, {demand:?}");
                let model = rises(&trial.settings, trial.budget.load().node_c);
                let bound = rises(&trial.settings, trial.budget.bound_c());
                prop_assert!(over(&model, &bound) < 1e-6, "the model left its box");
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn one_coil_never_passes_its_bounds() {
    hurt(1, 150, 800);
}

#[test]
fn coils_that_lift_fluid_never_pass_their_bounds_either() {
    hurt_all(Trial::lifting, 1, 150, 800);
    hurt_all(Trial::lifting, 24, 40, 250);
}

#[test]
fn twenty_four_coils_never_pass_their_bounds() {
    hurt(24, 60, 250);
}

#[test]
fn two_hundred_and_fifty_six_coils_never_pass_their_bounds() {
    hurt(256, 5, 80);
}

#[test]
fn the_model_is_never_colder_than_the_coils() {
    for seed in 100..160 {
        let mut trial = Trial::new(seed, 7);
        let frames_per_tick = 4;
        for frame in 1..400 {
            trial.step();
            if frame % frames_per_tick != 0 {
                continue;
            }
            let model = rises(&trial.settings, trial.budget.load().node_c);
            let behind = over(&trial.plant.rise, &model);
            let most = early_heat(&trial);
            assert!(behind <= most, "seed {seed} frame {frame}: {behind} K behind");
        }
    }
}

/// Heat of one tick that came in its first instant instead of evenly has passed on for half a tick
/// longer: P T^2 G/(2 C C') to each neighbour, K, and again in the tick before, which still shows.
/// Displays without ticks of several frames: none, but for the error of the step itself.
fn early_heat(trial: &Trial) -> f64 {
    let rate_hz = trial.settings.frame_rate.per_second();
    if rate_hz < 100.0 {
        return 1e-6;
    }
    let tick_s = 4.0 / rate_hz;
    let plant = &trial.plant;
    let mut early = vec![0.0; plant.heat.len()];
    for (i, coil) in plant.coils.iter().enumerate() {
        let full_w = coil.volts.powi(2) / coil.ohms_at_reference;
        for &(a, b, g) in &plant.paths {
            let Some(b) = b.filter(|&b| a == i || b == i) else { continue };
            let other = a + b - i;
            early[other] += full_w * tick_s * tick_s * g / plant.heat[i] / plant.heat[other];
        }
    }
    early.into_iter().fold(0.0, f64::max)
}
