//! Logs that say too little are refused with what is missing. `refusals.txt` holds every sentence.

use coilscore::fit::log::Cold;
use coilscore::fit::{Log, Settings, TwoNodes, fit, table};

use super::bench::Bench;

fn said(text: &str, cold: Cold, expected_ohm: Option<f64>) -> String {
    let fitted = table::read(text)
        .and_then(|table| Log::new(&table, cold, |_| expected_ohm))
        .and_then(|log| fit(&log, &Settings::default()));
    match fitted {
        Ok(_) => "accepted".to_owned(),
        Err(error) => error.to_string(),
    }
}

const COLD: Cold = Cold { celsius: Some(21.5), ohm: None };

fn of(bench: &Bench) -> String {
    said(&bench.csv(9), COLD, None)
}

/// Lines of a log, changed.
fn edited(change: impl Fn(usize, &mut [f64; 3]) -> bool) -> String {
    let mut text = "time_s,voltage_v,current_a\n".to_owned();
    for (row, [time_s, volts, amps, _, _]) in Bench::worked().readings(9).into_iter().enumerate() {
        let mut cells = [time_s, volts, amps];
        if change(row, &mut cells) {
            text += &format!("{:.3},{:.5},{:.8}\n", cells[0], cells[1], cells[2]);
        }
    }
    text
}

#[test]
fn every_refusal_says_what_is_missing() {
    let worked = Bench::worked;
    let header = |names: &str| said(&format!("{names}\n1,2,3\n"), COLD, None);
    let whole = worked().csv(9);
    let with_ambient = |from: f64, to: f64| {
        let mut text = "time_s,voltage_v,current_a,ambient_c\n".to_owned();
        for [time_s, volts, amps, _, _] in worked().readings(9) {
            let room_c = from + (to - from) * time_s / 2300.0;
            text += &format!("{time_s:.3},{volts:.4},{amps:.8},{room_c:.2}\n");
        }
        text
    };
    let cases: Vec<(&str, String)> = vec![
        ("empty", said("# nothing\n", COLD, None)),
        ("header alone", said("time_s,voltage_v,current_a\n", COLD, None)),
        ("no unit", header("time_s,voltage,current_a")),
        ("unknown unit", header("time_days,voltage_v,current_a")),
        ("no time", header("clock,voltage_v,current_a")),
        ("resistance alone", header("time_s,resistance_ohm,note")),
        ("voltage alone", header("time_s,voltage_v,note")),
        ("nothing electric", header("time_s,note,remark")),
        ("twice", header("time_s,voltage_v,voltage_mv")),
        (
            "wrong separator",
            said(
                &whole
                    .replace(',', ";")
                    .replace("time_s;voltage_v;current_a", "time_s,voltage_v,current_a"),
                COLD,
                None,
            ),
        ),
        ("few", said(&whole.lines().take(20).collect::<Vec<_>>().join("\n"), COLD, None)),
        (
            "backwards",
            said(
                &edited(|row, cells| {
                    if row % 10 == 0 {
                        cells[0] -= 30.0;
                    }
                    true
                }),
                COLD,
                None,
            ),
        ),
        ("gap", said(&edited(|_, cells| !(100.0..1000.0).contains(&cells[0])), COLD, None)),
        ("no cold temperature", said(&whole, Cold::default(), None)),
        ("not rested", said(&with_ambient(25.0, 25.0), COLD, None)),
        ("room all over", said(&with_ambient(20.0, 28.0), Cold::default(), None)),
        ("no baseline", said(&edited(|_, cells| cells[0] > 21.0), COLD, None)),
        (
            "no drive",
            said(
                &edited(|_, cells| {
                    cells[2] = 0.0;
                    true
                }),
                COLD,
                None,
            ),
        ),
        (
            "restless",
            said(
                &edited(|row, cells| {
                    if row / 40 % 2 == 1 {
                        cells[1] /= 2.0;
                        cells[2] /= 2.0;
                    }
                    true
                }),
                COLD,
                None,
            ),
        ),
        (
            "not copper",
            said(
                &edited(|_, cells| {
                    if cells[0] > 22.0 {
                        cells[1] *= 0.8;
                    }
                    true
                }),
                COLD,
                None,
            ),
        ),
        ("another coil", said(&whole, COLD, Some(31.0))),
        ("little heat", of(&Bench { drive_v: 1.8, sense_v: 0.18, ..worked() })),
        ("too short", of(&Bench { spans_s: [20.0, 420.0, 300.0], ..worked() })),
        (
            "no bend",
            of(&Bench { spans_s: [20.0, 60.0, 60.0], coil: [4.0, 2.5, 80.0, 15.0], ..worked() }),
        ),
        ("no cooling", of(&Bench { spans_s: [20.0, 1400.0, 5.0], ..worked() })),
        ("little cooling", of(&Bench { spans_s: [20.0, 1400.0, 150.0], ..worked() })),
        ("drift", of(&Bench { drift_k_per_h: 6.0, ..worked() })),
        (
            "vague",
            of(&Bench {
                drive_v: 3.4,
                sense_v: 0.34,
                noise_k: 0.8,
                every_s: [2.0, 10.0],
                ..worked()
            }),
        ),
        (
            "misfit",
            said(
                &edited(|_, cells| {
                    if cells[0] > 22.0 {
                        cells[2] *= 1.0 - 0.05 * (cells[0] / 25.0).sin();
                    }
                    true
                }),
                COLD,
                None,
            ),
        ),
        (
            "jumpy",
            said(
                &edited(|row, cells| {
                    if row % 12 == 5 && cells[0] > 30.0 {
                        cells[2] *= 0.93;
                    }
                    true
                }),
                COLD,
                None,
            ),
        ),
    ];
    let told: String = cases.iter().map(|(name, said)| format!("{name}: {said}\n")).collect();
    let golden = include_str!("refusals.txt");
    assert!(told == golden, "these sentences differ from tests/fit/refusals.txt:\n{told}");
    assert!(!told.contains(": accepted"), "{told}");
    assert_eq!(said(&whole, COLD, Some(10.0)), "accepted");
}

/// A minute has 60 s: a log of seconds under `time_min` would make every coil stand 60 times as long.
#[test]
fn a_log_in_another_unit_of_time_is_refused() {
    let [coil_j_per_k, coil_to_backing_k_per_w, backing_j_per_k, backing_to_around_k_per_w] =
        Bench::worked().coil;
    let known = Some(TwoNodes {
        // A guess three times too large, and one three times too small.
        coil_j_per_k: coil_j_per_k * 3.0,
        coil_to_backing_k_per_w,
        backing_j_per_k: backing_j_per_k / 3.0,
        backing_to_around_k_per_w,
        coil_to_around_w_per_k: 0.0,
    });
    let log = Bench::worked().csv(9);
    for (unit, refused) in [("time_s", false), ("time_min", true)] {
        let table = table::read(&log.replace("time_s", unit)).unwrap();
        let read = Log::new(&table, COLD, |_| None);
        let fitted = read.and_then(|log| fit(&log, &Settings { known, ..Settings::default() }));
        let said = fitted.map_or_else(|error| error.to_string(), |_| String::new());
        assert_eq!(said.contains("another unit"), refused, "{unit}: {said}");
    }
}
