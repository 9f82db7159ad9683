//! What was put in comes out.

use coilscore::fit::TwoNodes;

use super::bench::{Bench, Noise, figures};

fn worst_percent(bench: &Bench, text: &str) -> f64 {
    let fitted = bench.fit_text(text).unwrap();
    let pairs = figures(&fitted).into_iter().zip(bench.coil);
    pairs.map(|((value, _), real)| 100.0 * (value / real - 1.0).abs()).fold(0.0, f64::max)
}

#[test]
fn without_noise_all_figures_come_back() {
    let quiet = Bench { noise_k: 0.0, ..Bench::worked() };
    let worst = worst_percent(&quiet, &quiet.csv(1));
    assert!(worst < 0.1, "{worst} %");
    let leaky = Bench { direct: 0.01, coil: [3.2, 3.5, 21.0, 12.0], ..quiet };
    let worst = worst_percent(&leaky, &leaky.csv(2));
    assert!(worst < 0.1, "{worst} %");
}

#[test]
fn with_noise_all_figures_come_back_within_3_percent() {
    let mut worst: f64 = 0.0;
    for seed in 0..200 {
        let mut dice = Noise(900 + seed);
        let mut near = |value: f64| value * (0.7 + 0.6 * dice.unit());
        let bench = Bench {
            coil: [near(4.0), near(2.5), near(25.0), near(15.0)],
            ohm_20: near(10.0),
            noise_k: 0.15 + 0.05 * (seed % 2) as f64,
            ..Bench::worked()
        };
        let slow_s = network(&bench).time_constants_s()[1];
        // The power that warms the winding by 75 K in the end, whichever coil it is.
        let ohm = bench.ohm_20 * (234.5 + bench.room_c + 75.0) / 254.5;
        let watts = 75.0 / (bench.coil[1] + bench.coil[3]);
        let drive_v = (watts * ohm).sqrt();
        let spans_s = [20.0, 3.2 * slow_s, 2.2 * slow_s];
        let bench = Bench { drive_v, sense_v: drive_v / 10.0, spans_s, ..bench };
        let percent = worst_percent(&bench, &bench.csv(seed));
        assert!(percent < 3.0, "seed {seed}: {percent} % off, {:?}", bench.coil);
        worst = worst.max(percent);
    }
    println!("worst figure of 200 logs: {worst:.2} % off");
}

fn network(bench: &Bench) -> TwoNodes {
    let [coil, inner, backing, outer] = bench.coil;
    TwoNodes {
        coil_j_per_k: coil,
        coil_to_backing_k_per_w: inner,
        backing_j_per_k: backing,
        backing_to_around_k_per_w: outer,
        coil_to_around_w_per_k: bench.direct,
    }
}

/// Lines lost, cells of nonsense, a repeated and a misplaced time, a failing contact.
#[test]
fn gaps_and_nonsense_are_stepped_over() {
    let bench = Bench::worked();
    let mut lines: Vec<String> = bench.csv(5).lines().map(str::to_owned).collect();
    lines.drain(700..760);
    for (row, text) in [(300, "nan,8.0,0.8"), (301, "200.1,,"), (302, "200.2,OL,0.7"), (400, "")] {
        lines[row] = text.to_owned();
    }
    lines.swap(500, 501);
    lines[600] = lines[599].clone();
    for row in [350, 450, 650] {
        // A contact that adds ohms: the current falls by a fifth.
        let cells: Vec<f64> = lines[row].split(',').map(|cell| cell.parse().unwrap()).collect();
        lines[row] = format!("{},{},{}", cells[0], cells[1], cells[2] * 0.8);
    }
    let text = lines.join("\n");
    let fitted = bench.fit_text(&text).unwrap();
    assert_eq!(fitted.set_aside, 3);
    let worst = worst_percent(&bench, &text);
    assert!(worst < 3.0, "{worst} %");
}

#[test]
fn a_room_that_warms_is_followed_when_it_is_logged() {
    let bench = Bench { drift_k_per_h: 3.0, ambient: true, ..Bench::worked() };
    let worst = worst_percent(&bench, &bench.csv(6));
    assert!(worst < 3.0, "{worst} %");
}

/// A thermometer on the backing, two degrees wrong, tells the way from winding to backing better.
#[test]
fn a_logged_backing_helps() {
    let bench = Bench::worked();
    let mut text = "time_s;voltage_v;current_a;backing_c\n".to_owned();
    let mut noise = Noise(3);
    for [time_s, volts, amps, _, backing_c] in bench.readings(7) {
        let seen = backing_c + 2.0 + 0.1 * noise.normal();
        text += &format!("{time_s:.3};{volts:.4};{amps:.8};{seen:.3}\n").replace('.', ",");
    }
    let with = bench.fit_text(&text).unwrap();
    let without = bench.fitted(7);
    let error = |fitted: &coilscore::fit::Fitted| figures(fitted)[1].1;
    assert!(error(&with) < 0.7 * error(&without), "{} {}", error(&with), error(&without));
    assert!(worst_percent(&bench, &text) < 2.0);
}
