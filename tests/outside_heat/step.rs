//! The thermal model in time and at rest.

use coilscore::budget::{Budget, BudgetSettings, Enclosure, Start};
use coilscore::units::{Celsius, JoulesPerKelvin, KelvinPerWatt, Rate, Share, Volts};

use super::nets::{Dice, display, random, worked_coil};
use super::plant::Plant;

/// Limits that no test here reaches.
fn unlimited(rate_hz: u32) -> BudgetSettings {
    display(rate_hz, vec![worked_coil(1e6, 1e6)])
}

/// The 4/25/2.5/15 net has time constants of 8.6 and 436 s; its cooling is a sum of two
/// exponentials whose weights follow from the eigenvectors of a 2 x 2 matrix.
fn cooled(start: [f64; 2], t: f64) -> [f64; 2] {
    let (a, b, c, d): (f64, f64, f64, f64) =
        (-0.4 / 4.0, 0.4 / 4.0, 0.4 / 25.0, -(0.4 + 1.0 / 15.0) / 25.0);
    let (half, det): (f64, f64) = ((a + d) / 2.0, a * d - b * c);
    let root = (half * half - det).sqrt();
    let (fast, slow) = (half - root, half + root);
    assert!((-1.0 / fast - 8.6).abs() < 0.05 && (-1.0 / slow - 436.0).abs() < 0.5);
    // e^(At) = [(slow e^fast - fast e^slow) I + (e^slow - e^fast) A] / (slow - fast)
    let (ef, es) = ((fast * t).exp(), (slow * t).exp());
    let one = (slow * ef - fast * es) / (slow - fast);
    let of_a = (es - ef) / (slow - fast);
    [
        one * start[0] + of_a * (a * start[0] + b * start[1]),
        one * start[1] + of_a * (c * start[0] + d * start[1]),
    ]
}

#[test]
fn cooling_is_the_sum_of_two_exponentials() {
    for rate_hz in [1, 5, 50, 200, 1000] {
        let mut settings = unlimited(rate_hz);
        settings.start = Start::Nodes(vec![Celsius(25.0 + 60.0), Celsius(25.0 + 10.0)]);
        let mut budget = Budget::new(&settings).unwrap();
        let mut frames = 0;
        for second in [1_u32, 8, 60, 400] {
            while frames < second * rate_hz {
                budget.permit(&[]);
                frames += 1;
            }
            let node_c = budget.load().node_c;
            let exact = cooled([60.0, 10.0], f64::from(second));
            for node in 0..2 {
                let off = node_c[node] - 25.0 - exact[node];
                assert!(off.abs() < 1e-7, "{rate_hz} Hz, {second} s, node {node}: {off}");
            }
        }
    }
}

/// First order: 63.2121, 86.4665, 95.0213, 99.3262 % of a step after 1, 2, 3, 5 time constants.
#[test]
fn one_time_constant_is_sixty_three_percent() {
    let mut settings = unlimited(1000);
    // No way to the backing: 4 J/K and 25 K/W make 100 s.
    settings.coils[0].heat.coil_to_backing = KelvinPerWatt(f64::INFINITY);
    settings.coils[0].heat.coil_to_around = KelvinPerWatt(25.0);
    settings.start = Start::Nodes(vec![Celsius(125.0), Celsius(25.0)]);
    let mut budget = Budget::new(&settings).unwrap();
    let mut frames = 0;
    for (constants, percent) in [(1, 63.2121), (2, 86.4665), (3, 95.0213), (5, 99.3262)] {
        while frames < constants * 100_000 {
            budget.permit(&[]);
            frames += 1;
        }
        let fallen = 125.0 - budget.load().node_c[0];
        assert!((fallen - percent).abs() < 1e-4, "{constants}: {fallen}");
    }
}

/// Heating with R(T), neighbours and enclosure against fine Runge-Kutta; the model may only be
/// warmer, by what one tick of frozen resistance is worth.
#[test]
fn heating_agrees_with_runge_kutta() {
    for seed in 0..10 {
        let mut settings = random(&mut Dice(seed), 6);
        settings.frame_rate = Rate::new(50, 1).unwrap();
        settings.start = Start::Cold;
        settings.rails[0].volts = Volts(6.0);
        for coil in &mut settings.coils {
            (coil.heat.coil_limit, coil.heat.backing_limit) = (Celsius(1e6), Celsius(1e6));
            coil.period_over_tau = f64::INFINITY;
        }
        settings.enclosure = Some(Enclosure {
            heat: JoulesPerKelvin(100.0),
            to_room: KelvinPerWatt(1.0),
            limit: None,
        });
        let mut budget = Budget::new(&settings).unwrap();
        let mut plant = Plant::new(&settings);
        for _ in 0..50 * 60 {
            let codes: Vec<i32> =
                budget.permit(&[Share::ALL; 6]).iter().map(|duty| duty.code()).collect();
            plant.hold(&codes, 0.02, |_| {});
        }
        for (node, (ours, theirs)) in budget.load().node_c.iter().zip(&plant.rise).enumerate() {
            let over = ours - settings.room.0 - theirs;
            assert!((-1e-9..0.02).contains(&over), "seed {seed} node {node}: {over} K over");
        }
    }
}

/// Where a coil on constant voltage settles: temperature with alpha = 0.00393 /K about 20 C,
/// computed. The resistance-rise constant K = 234.5 is alpha = 1/254.5 = 0.0039293; our column is
/// the same quadratic with it: theta = [-(K+Ta) + sqrt((K+Ta)^2 + 4 Rth P20 (K+20))]/2.
#[test]
fn electrothermal_steady_states() {
    for (p20, rth, ta, by_alpha) in [
        (1.0, 20.0, 25.0, 43.32087),
        (2.0, 20.0, 25.0, 59.61182),
        (2.0, 40.0, 25.0, 88.10815),
        (3.0, 40.0, 30.0, 116.90407),
        (2.5, 17.5, 25.0, 25.0 + 37.4907),
        (14.4, 17.5, 25.0, 179.801),
    ] {
        let settled = settled_c(p20, rth, ta);
        let k = 234.5;
        let by_k = (-(k + ta) + f64::sqrt((k + ta).powi(2) + 4.0 * rth * p20 * (k + 20.0))) / 2.0;
        // The resistance is that of a winding one tick of 4 ms colder.
        let tick_k = by_k * 0.004 / rth;
        let off = settled - ta - by_k;
        assert!(off >= -1e-6 && off < tick_k / 2.0, "{p20} W {rth} K/W: {settled}, {off} K off");
        assert!((settled - by_alpha).abs() < 0.02, "{p20} W {rth} K/W: {settled}, {by_alpha}");
    }
}

fn settled_c(p20: f64, rth: f64, ta: f64) -> f64 {
    let mut settings = unlimited(1000);
    settings.room = Celsius(ta);
    // All resistance to the room, so that the winding settles fast.
    settings.coils[0].heat.coil_to_around = KelvinPerWatt(rth);
    settings.coils[0].heat.coil_to_backing = KelvinPerWatt(f64::INFINITY);
    settings.coils[0].heat.coil = JoulesPerKelvin(1.0);
    settings.rails[0].volts = Volts((p20 * 10.0).sqrt());
    let mut budget = Budget::new(&settings).unwrap();
    for _ in 0..1000 * 600 {
        budget.permit(&[Share::ALL]);
    }
    budget.load().node_c[0]
}
