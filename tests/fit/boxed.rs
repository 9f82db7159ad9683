//! The box rule with fitted figures and the margin of their own errors, on plants that share nothing
//! with the program: coils drawn from what the fit says they may be, at full request for eight slow
//! time constants. A shorter run shows nothing.

use coilscore::budget::{
    Budget, BudgetSettings, CoilBudget, CoilHeat, Polarity, Pull, Rail, Start,
};
use coilscore::fit::{Fitted, Systematic};
use coilscore::units::{
    Amps, Celsius, JoulesPerKelvin, KelvinPerWatt, Ohms, Rate, Seconds, Share, Volts,
};

use super::bench::{Bench, Noise};
use super::plant::Plant;

const LIMITS_C: [f64; 2] = [90.0, 65.0];
const ROOM_C: f64 = 25.0;

/// One fitted coil on 12 V.
fn settings(fitted: &Fitted, margin: f64, power: f64) -> BudgetSettings {
    let coil = CoilBudget {
        rail: 0,
        priority: 0,
        resistance: Ohms(fitted.cold_ohm.value),
        reference: Celsius(fitted.cold_c),
        period_over_tau: f64::INFINITY,
        heat: CoilHeat {
            coil: JoulesPerKelvin(fitted.coil_j_per_k.value),
            backing: JoulesPerKelvin(fitted.backing_j_per_k.value),
            coil_to_backing: KelvinPerWatt(fitted.coil_to_backing_k_per_w.value),
            backing_to_around: KelvinPerWatt(fitted.backing_to_around_k_per_w.value),
            coil_to_around: KelvinPerWatt(f64::INFINITY),
            coil_limit: Celsius(LIMITS_C[0]),
            backing_limit: Celsius(LIMITS_C[1]),
        },
        margin: margin / 100.0,
        power_scale: 1.0 + power / 100.0,
        polarity: Polarity::Unipolar,
        steps: 65_535,
        least_duty: 0.0,
        turn_rest: Seconds(0.0),
        pull: Pull::Straight,
    };
    BudgetSettings {
        frame_rate: Rate::new(2, 1).unwrap(),
        hold_s: Seconds(0.0),
        knee_s: Seconds(0.0),
        room: Celsius(ROOM_C),
        coils: vec![coil],
        neighbours: vec![],
        enclosure: None,
        rails: vec![Rail {
            name: "main".into(),
            volts: Volts(12.0),
            limit: Amps(f64::INFINITY),
            ramp: Seconds(0.0),
            slew_a_per_s: f64::INFINITY,
        }],
        start: Start::Cold,
    }
}

/// The plant with the figures C_c, R_cb, C_b, R_ba, and a rail that is off by a factor.
fn plant(settings: &BudgetSettings, figures: [f64; 4], volts: f64) -> Plant {
    let mut plant = Plant::new(settings);
    plant.heat = vec![figures[0], figures[2]];
    plant.paths = vec![(0, Some(1), 1.0 / figures[1]), (1, None, 1.0 / figures[3])];
    plant.coils[0].volts *= volts;
    plant
}

/// Coils that the fit holds possible: ln figures = fitted + L n, with L L^T the covariance.
fn drawn(fitted: &Fitted, noise: &mut Noise) -> [f64; 4] {
    let mut lower = [[0.0; 4]; 4];
    for row in 0..4 {
        for column in 0..=row {
            let known: f64 = (0..column).map(|k| lower[row][k] * lower[column][k]).sum();
            let rest = fitted.covariance[row][column] - known;
            lower[row][column] =
                if row == column { rest.sqrt() } else { rest / lower[column][column] };
        }
    }
    let own: [f64; 4] = std::array::from_fn(|_| noise.normal());
    let network = fitted.network;
    let middle = [
        network.coil_j_per_k,
        network.coil_to_backing_k_per_w,
        network.backing_j_per_k,
        network.backing_to_around_k_per_w,
    ];
    std::array::from_fn(|row| {
        let off: f64 = (0..=row).map(|k| lower[row][k] * own[k]).sum();
        middle[row] * off.exp()
    })
}

/// For each plant, the highest share of a limit's rise that any node reached.
fn peaks(settings: &BudgetSettings, plants: &mut [Plant], wish: impl Fn(u32) -> f64) -> Vec<f64> {
    let mut budget = Budget::new(settings).unwrap();
    let mut peaks = vec![0.0_f64; plants.len()];
    for frame in 0..2 * 3600 {
        let wish = Share::new(wish(frame)).unwrap();
        let codes: Vec<i32> = budget.permit(&[wish]).iter().map(|duty| duty.code()).collect();
        for (plant, peak) in plants.iter_mut().zip(&mut peaks) {
            plant.hold(&codes, 0.5, |rise| {
                let shares = rise.iter().zip(LIMITS_C).map(|(rise, limit)| rise / (limit - ROOM_C));
                *peak = shares.fold(*peak, f64::max);
            });
        }
    }
    peaks
}

fn passing(peaks: &[f64]) -> f64 {
    peaks.iter().filter(|peak| **peak > 1.0).count() as f64 / peaks.len() as f64
}

/// A noisy test, so that the margin is more than its least.
fn noisy(seed: u64) -> Fitted {
    let bench = Bench { noise_k: 0.6, ..Bench::worked() };
    let text = bench.csv(seed);
    let cold = coilscore::fit::log::Cold { celsius: Some(bench.room_c), ohm: None };
    let table = coilscore::fit::table::read(&text).unwrap();
    let log = coilscore::fit::Log::new(&table, cold, |_| None).unwrap();
    // Scatter alone: what no scatter shows is another test's business.
    let systematic = Systematic { volts_percent: 0.0, cold_k: 0.0 };
    let settings = coilscore::fit::Settings { systematic, ..Default::default() };
    coilscore::fit::fit(&log, &settings).unwrap()
}

#[test]
fn coils_that_the_fit_holds_possible_never_pass_their_limits() {
    type Wish = fn(u32) -> f64;
    let full: Wish = |_| 1.0;
    // Twenty seconds on, half a minute off.
    let pulsed: Wish = |frame| if frame % 100 < 40 { 1.0 } else { 0.0 };
    for seed in 0..2 {
        let fitted = noisy(50 + seed);
        let margin = fitted.margin;
        assert!(margin.margin_percent > 4.0 && margin.power_percent == 0.0, "{margin:?}");
        let mut noise = Noise(seed);
        let coils: Vec<[f64; 4]> = (0..60).map(|_| drawn(&fitted, &mut noise)).collect();
        for wish in [full, pulsed] {
            let with = settings(&fitted, margin.margin_percent, margin.power_percent);
            let all = |settings: &BudgetSettings| -> Vec<Plant> {
                coils.iter().map(|coil| plant(settings, *coil, 1.0)).collect()
            };
            let share = passing(&peaks(&with, &mut all(&with), wish));
            assert!(share <= 0.05, "seed {seed}: {share} of the coils pass with {margin:?}");
            if wish(50) > 0.0 {
                let without = settings(&fitted, 0.0, 0.0);
                let bare = passing(&peaks(&without, &mut all(&without), wish));
                println!("seed {seed}: {margin:?}; pass with it {share}, without {bare}");
                assert!(bare > 0.1, "seed {seed}: the margin is not tested, {bare}");
            }
        }
    }
}

/// With everything wrong that is stated: meters, thermometer, rail. The coil itself is the plant.
#[test]
fn the_coil_that_was_tested_never_passes_its_limits() {
    for seed in 0..12 {
        let sign = |bit: u64| if seed >> bit & 1 == 1 { 1.0 } else { -1.0 };
        let bench = Bench::worked();
        // Volt meter and rail 1 % off each, in opposite ways at worst; thermometer 1 K off.
        let meter = 1.0 + 0.01 * sign(0);
        let cold_c = bench.room_c + sign(1);
        let mut text = "time_s,voltage_v,current_a\n".to_owned();
        for [time_s, volts, amps, _, _] in bench.readings(seed) {
            text += &format!("{time_s},{},{amps}\n", volts * meter);
        }
        let table = coilscore::fit::table::read(&text).unwrap();
        let cold = coilscore::fit::log::Cold { celsius: Some(cold_c), ohm: None };
        let log = coilscore::fit::Log::new(&table, cold, |_| None).unwrap();
        let fitted = coilscore::fit::fit(&log, &coilscore::fit::Settings::default()).unwrap();
        let margin = fitted.margin;
        assert!((4.0..4.2).contains(&margin.power_percent), "{margin:?}");
        let with = settings(&fitted, margin.margin_percent, margin.power_percent);
        let mut real = plant(&with, bench.coil, 1.0 + 0.01 * sign(2));
        real.coils[0].ohms_at_reference = bench.ohm_20;
        real.coils[0].reference_c = 20.0;
        let peak = peaks(&with, std::slice::from_mut(&mut real), |_| 1.0)[0];
        assert!(peak <= 1.0, "seed {seed}: {peak}");
        assert!(peak > 0.82, "seed {seed}: only {peak} of what the limits allow was used");
    }
}
