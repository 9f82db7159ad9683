//! A heating test through a board: coils that warm up, the log, and what `fit` makes of it.
//!
//! The coils are a simulator of its own (`examples/sim_board/plant.rs`: small steps, resistance that
//! follows temperature), and the board reports in steps of 10 mA and 10 mV, ten times a second.
#![cfg(all(unix, feature = "serial"))]

use coilscore::budget::{Budget, Start};
use coilscore::fit::log::Cold;
use coilscore::fit::{Fitted, Log, Settings, Systematic, TwoNodes, fit, table};
use coilscore::preset::{display, prepare_display};
use coilscore::run::walk::{
    HeatingTest, LogRound, LogRow, Next, Reading, Round, Said, Seen, probes,
};
use coilscore::units::{Rate, Share};

use crate::bench::{Desk, OnLine};
use crate::board::{Plan, Plant, drawn};
use crate::onlooker::Walk;

/// Three coils, invented; the heat figures of the file are guesses, 20 % to 30 % off.
fn guessed(heat: [f64; 4]) -> String {
    let [coil, between, backing, around] = heat;
    format!(
        r#"schema = 1
name = "three to test (invented)"
room_c = 24

[driver]
steps = 4095
polarity = "one_way"
hold_ms = 250

[link]
baud = 1_000_000

[[rail]]
name = "main"
volts = 12
limit_a = 50

[[coil_type]]
name = "spiral"
resistance_ohm = 10
reference_c = 24
coil_j_per_k = {coil}
backing_j_per_k = {backing}
coil_to_backing_k_per_w = {between}
backing_to_around_k_per_w = {around}
coil_limit_c = 90
backing_limit_c = 60
trust = "estimate"

[[coils]]
group = "row"
type = "spiral"
rail = "main"
board = 0
first_channel = 0
place.line = {{ count = 3, from_mm = [0, 0], to_mm = [80, 0] }}
"#
    )
}

/// What a spiral on iron may really have (invented), and guesses of it.
const TRUE: [f64; 4] = [5.0, 2.1, 28.0, 13.0];
const GUESS: [f64; 4] = [4.0, 2.5, 22.0, 15.0];

struct Bench {
    plant: Plant,
    ohm: f64,
    idle_a: f64,
    /// The board holds its coil to this duty by itself.
    most: f64,
}

impl Bench {
    fn new(ohm: f64) -> Self {
        Self { plant: Plant::cold(1, 24.0, TRUE), ohm, idle_a: 0.03, most: 1.0 }
    }

    /// Runs the test; the rows, how it was refused, and the highest temperature of the winding.
    fn run(&mut self) -> (Vec<LogRow>, Option<&'static str>, f64) {
        let shown = display::read("bench", &guessed(GUESS)).unwrap();
        let rate = Rate::new(50, 1).unwrap();
        let (settings, _) = prepare_display(&shown, rate, Start::Cold);
        let mut budget = Budget::new(&settings).unwrap();
        let probe = probes(&shown, &settings)[1];
        let (heat_s, cool_s) = (1300.0, 870.0);
        let floor_share = budget.floor_share();
        let test =
            HeatingTest { coil: 1, probe, cold_c: 24.0, floor_share, fast_s: 8.0, heat_s, cool_s };
        let (mut round, mut rows, mut refused) = (LogRound::new(test), Vec::new(), None);
        let (mut reading, mut granted, mut hottest_c) = (Reading::default(), 0.0, 24.0_f64);
        for frame in 0..200_000_u32 {
            let seen = Seen {
                now_s: f64::from(frame) / 50.0,
                action: None,
                granted,
                coil_c: &[24.0; 3],
                reading,
            };
            let next = round.step(&seen, &mut |said| match said {
                Said::Logged(row) => rows.push(row),
                Said::Refused(why) => refused = Some(why),
                _ => {}
            });
            let mut wishes = [Share::NONE; 3];
            match next {
                Next::Drive(coil, share) => wishes[coil] = share,
                Next::Rest(_) => {}
                Next::Done => break,
            }
            let duties = budget.permit(&wishes);
            assert!(duties[0].code() == 0 && duties[2].code() == 0, "one coil only");
            granted = f64::from(duties[1].code()) / 4095.0;
            let flows = granted.min(self.most);
            let ohm = self.ohm * self.plant.warmer(0);
            let (volts, amps) = drawn([(flows, ohm)].into_iter());
            self.plant.pass(0.02, |_| flows * volts * volts / self.ohm);
            hottest_c = hottest_c.max(24.0 + self.plant.rise_k[0][0]);
            if frame % 5 == 3 {
                let steps = |value: f64| Some((value * 100.0).round() / 100.0);
                reading = Reading {
                    count: reading.count + 1,
                    supply_v: steps(volts),
                    supply_a: steps(amps + self.idle_a),
                    held: flows < granted,
                };
            }
        }
        assert!(refused.is_some() || round.is_whole());
        (rows, refused, hottest_c)
    }
}

fn csv(rows: &[LogRow]) -> String {
    let mut text = String::from("time_s,voltage_v,current_a,resistance_ohm,ambient_c,heating\n");
    for row in rows {
        let ohm = row.resistance_ohm.map_or_else(String::new, |ohm| ohm.to_string());
        let LogRow { time_s, voltage_v, current_a, heating, .. } = row;
        text += &format!("{time_s},{voltage_v},{current_a},{ohm},24,{}\n", u8::from(*heating));
    }
    text
}

fn fitted(text: &str) -> Result<Fitted, coilscore::fit::FitError> {
    let log = Log::new(&table::read(text)?, Cold::default(), |_| Some(10.0))?;
    let known = None::<TwoNodes>;
    let systematic = Systematic { volts_percent: 2.0, cold_k: 1.0 };
    fit(&log, &Settings { coil_to_around_w_per_k: 0.0, known, systematic })
}

fn figures(fitted: &Fitted) -> [f64; 4] {
    let of = &fitted.network;
    [of.coil_j_per_k, of.coil_to_backing_k_per_w, of.backing_j_per_k, of.backing_to_around_k_per_w]
}

#[test]
fn what_a_board_logs_tells_the_four_heat_figures_within_ten_percent() {
    for ohm in [10.0, 9.3] {
        let (rows, refused, hottest_c) = Bench::new(ohm).run();
        assert_eq!(refused, None);
        assert!(rows.windows(2).all(|pair| pair[0].time_s <= pair[1].time_s));
        assert!((40.0..60.0).contains(&hottest_c), "{hottest_c}");
        let fitted = fitted(&csv(&rows)).unwrap();
        println!("{} rows, {} readings", rows.len(), fitted.readings);
        for (found, truth) in figures(&fitted).into_iter().zip(TRUE) {
            println!("  {found:.3} for {truth}: {:+.1} %", (found / truth - 1.0) * 100.0);
            assert!((found / truth - 1.0).abs() < 0.10, "{:?}", figures(&fitted));
        }
        assert!((fitted.cold_ohm.value / ohm - 1.0).abs() < 0.01, "{:?}", fitted.cold_ohm);
    }
}

#[test]
fn coils_that_are_none_and_boards_that_hold_back_are_refused() {
    let mut open = Bench { ohm: 1e6, ..Bench::new(10.0) };
    assert!(open.run().1.unwrap().contains("hardly any current"));
    let mut short = Bench { ohm: 0.5, ..Bench::new(10.0) };
    let (rows, refused, hottest_c) = short.run();
    assert!(refused.unwrap().contains("far more"), "{refused:?}");
    assert!(hottest_c < 60.0, "a short is only looked at weakly: {hottest_c}");
    assert!(rows.iter().all(|row| row.resistance_ohm.is_none()));
    let mut held = Bench { most: 0.5, ..Bench::new(10.0) };
    assert!(held.run().1.unwrap().contains("a limit of its own"));
}

/// A coil small enough for a test: fast enough to warm and cool within a minute.
const SMALL: [f64; 4] = [2.0, 3.0, 1.0, 4.0];
const SMALL_GUESS: [f64; 4] = [1.6, 3.4, 0.8, 4.6];

fn small() -> (Desk, OnLine) {
    let desk = Desk::new(&guessed(SMALL_GUESS));
    let line = OnLine::new(Plan { channels: 3, ..Plan::default() });
    line.board().ohms = vec![10.0; 3];
    line.board().plant = Some(Plant::cold(3, 24.0, SMALL));
    (desk, line)
}

const LOG: [&str; 7] = ["--log", "log.csv", "--coil", "1", "--cold-c", "24", "--rested"];

/// The program heats a coil on a line and logs it. So small a coil in so short a test says too little
/// for four figures in steps of 10 mA; how exact they are is tested above, in simulated time.
#[test]
fn the_program_logs_a_whole_test_and_fit_reads_it() {
    let (desk, line) = small();
    let mut walk = Walk::start(&desk, &line, &[&LOG[..], &["--minutes", "0.5"]].concat());
    walk.until("heating: as much");
    assert!(std::fs::read_to_string(desk.path("log.csv")).unwrap().contains("\n0."));
    walk.until("cooling");
    walk.until("log.csv:");
    let (code, said) = walk.end();
    assert_eq!(code, Some(0), "{said}");
    line.assert_told_off();
    let text = std::fs::read_to_string(desk.path("log.csv")).unwrap();
    let log = Log::new(&table::read(&text).unwrap(), Cold::default(), |_| Some(10.0)).unwrap();
    assert!((25.0..40.0).contains(&log.driven_s) && log.cooled_s > 15.0, "{log:?}");
    assert!((log.cold_ohm / 10.0 - 1.0).abs() < 0.05, "{}", log.cold_ohm);
    // What was read is what the coil had, as a plant of its own has it under the logged power.
    let (mut plant, mut worst_k) = (Plant::cold(1, 24.0, SMALL), 0.0_f64);
    for pair in log.readings.windows(2) {
        let power_w = (pair[0].power_w + pair[1].power_w) / 2.0;
        let warmer = plant.warmer(0);
        plant.pass(pair[1].time_s - pair[0].time_s, |_| power_w * warmer);
        if let Some(ohm) = pair[1].ohm {
            let rise_k = (ohm / 10.0 - 1.0) * (234.5 + 24.0);
            worst_k = worst_k.max((rise_k - plant.rise_k[0][0]).abs());
        }
    }
    println!("readings within {worst_k:.2} K");
    // A step of 10 mA is 2 K here.
    assert!(worst_k < 4.0, "{worst_k}");
    let run = desk.run(&["fit", "log.csv", "--display", "display.toml", "--coil", "1"]);
    let said = crate::bench::text(&run.stderr);
    assert!(run.status.success() || said.contains("uncertain by"), "{said}");
    // A log takes long: none is written over.
    let port = line.name();
    let again = [&["walk", "--display", "display.toml", "--port", &port], &LOG[..]].concat();
    let again = desk.run(&again);
    assert_eq!(again.status.code(), Some(2));
    assert!(crate::bench::text(&again.stderr).contains("is there already"));
}

#[test]
fn what_was_logged_stays_when_the_line_dies() {
    let (desk, mut line) = small();
    let mut walk = Walk::start(&desk, &line, &LOG);
    walk.until("heating: as much");
    line.pull_out();
    let (code, said) = walk.end();
    assert_eq!(code, Some(1), "{said}");
    let log = std::fs::read_to_string(desk.path("log.csv")).unwrap();
    assert!(log.ends_with('\n') && log.lines().count() > 10, "{log}");
    let fit = desk.run(&["fit", "log.csv", "--display", "display.toml", "--coil", "1"]);
    assert_eq!(fit.status.code(), Some(2), "a torn test is refused with what is missing");
}

#[test]
fn a_test_that_cannot_be_logged_drives_nothing() {
    let (desk, line) = small();
    line.board().knows_supply = false;
    let (code, said) = Walk::start(&desk, &line, &LOG).end();
    assert_eq!(code, Some(2), "{said}");
    assert!(line.duties().iter().all(|(_, codes)| codes.iter().all(|code| *code == 0)));
    // Without --rested, nobody knows that the coil has rested.
    let (desk, line) = small();
    let (code, said) = Walk::start(&desk, &line, &LOG[..6]).end();
    assert_eq!(code, Some(2), "{said}");
    assert!(!desk.path("log.csv").exists());
    assert!(line.duties().is_empty());
}

/// Limits are reckoned from the display's room: a test in a warmer one would end as much too hot.
#[test]
fn a_room_warmer_than_the_file_says_is_refused() {
    let (desk, line) = small();
    let mut flags = LOG;
    flags[5] = "45";
    let port = line.name();
    let run = [&["walk", "--display", "display.toml", "--port", &port], &flags[..]].concat();
    let run = desk.run(&run);
    let said = crate::bench::text(&run.stderr);
    assert_eq!(run.status.code(), Some(2), "{said}");
    assert!(said.contains("room_c = 24"), "{said}");
    assert!(!desk.path("log.csv").exists());
    assert!(line.duties().is_empty());
}
