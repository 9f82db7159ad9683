//! `coilscore coil` as a user runs it: sheet, sweep, files, refusals; and what `budget` and `check` say
//! of coils whose pull is known.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

use std::process::{Command, Output};

use coilscore::coil::geometry::SpiralShape;
use coilscore::coil::iron::Iron;
use tempfile::TempDir;

const SPIRAL: &[&str] = &[
    "coil",
    "spiral",
    "--inner-mm",
    "6",
    "--outer-mm",
    "35",
    "--trace-mm",
    "0.55",
    "--space-mm",
    "0.15",
    "--layers",
    "12",
    "--layer-pitch-mm",
    "0.16",
];
const WOUND: &[&str] =
    &["coil", "wound", "--inner-mm", "8", "--outer-mm", "20", "--length-mm", "12"];

fn run(dir: &TempDir, args: &[&str], more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.args(args).args(more).current_dir(dir.path()).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn a_sheet_says_the_worked_figures_and_asks_for_a_measurement() {
    let dir = TempDir::new().unwrap();
    let iron = ["--iron-gap-mm", "0.25", "--aside-mm", "10", "--pwm-hz", "490"];
    let done = run(&dir, SPIRAL, &iron);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    for figure in ["240 turns", "13.405 ohm", "880.5 uH in air", "L/R", "Caution"] {
        assert!(said.contains(figure), "{figure}: {said}");
    }
    let remarks = text(&done.stderr);
    assert!(remarks.contains("measure it with four leads"), "{remarks}");
    assert!(remarks.contains("at 490 Hz a coil near a magnet sings"), "{remarks}");
}

#[test]
fn json_holds_what_the_sheet_says() {
    let dir = TempDir::new().unwrap();
    let json = |more: &[&str]| -> serde_json::Value {
        let mut all = vec!["--json", "--to-room-k-per-w", "20"];
        all.extend(more);
        serde_json::from_slice(&run(&dir, SPIRAL, &all).stdout).unwrap()
    };
    let plain = json(&[]);
    assert_eq!(plain["turns"], 240);
    assert!((plain["resistance_ohm"].as_f64().unwrap() - 13.4046).abs() < 1e-3);
    assert!((plain["inductance_uh"].as_f64().unwrap() - 880.455).abs() < 1e-2);
    assert_eq!(plain["for_ever"]["heat_w"].as_f64(), Some(55.0 / 20.0));
    let iron = json(&["--iron-gap-mm", "0.25", "--series", "2", "--parallel", "4"]);
    let ratio = |key: &str| iron[key].as_f64().unwrap() / plain[key].as_f64().unwrap();
    assert!((1.4..2.0).contains(&ratio("axis_mt_per_a")) && ratio("inductance_with_iron_uh") > 1.5);
    assert!((ratio("group_ohm") - 0.5).abs() < 1e-12);
}

/// Iron as typed is iron as reckoned: millimetres, and a diameter.
#[test]
fn a_disc_is_taken_by_its_diameter_and_thickness() {
    let dir = TempDir::new().unwrap();
    let axis = |more: &[&str]| {
        let mut all = vec!["--json"];
        all.extend(more);
        let said: serde_json::Value =
            serde_json::from_slice(&run(&dir, SPIRAL, &all).stdout).unwrap();
        said["axis_mt_per_a"].as_f64().unwrap() * 1e-3
    };
    let winding = SpiralShape {
        inner_mm: 6.0,
        outer_mm: 35.0,
        trace_mm: 0.55,
        space_mm: 0.15,
        copper_um: vec![35.0; 12],
        layer_pitch_mm: 0.16,
    }
    .wind()
    .unwrap();
    for (gap, diameter, thick) in [("0.25", "35", "5"), ("1", "24", "0.5")] {
        let mm = |text: &str| text.parse::<f64>().unwrap() * 1e-3;
        let iron = Iron::Plate {
            face_z_m: -11.0 * 0.16e-3 - mm(gap),
            thickness_m: mm(thick),
            radius_m: mm(diameter) / 2.0,
            mu_r: 1000.0,
        };
        let reckoned = winding.field_per_amp(Some(&iron), 0.0, 8e-3).bz;
        let said =
            axis(&["--iron-gap-mm", gap, "--iron-diameter-mm", diameter, "--iron-mm", thick]);
        assert!((said / reckoned - 1.0).abs() < 1e-9, "{said} {reckoned}");
    }
}

#[test]
fn a_sweep_is_a_table_a_file_and_a_picture() {
    let dir = TempDir::new().unwrap();
    let files = ["--sweep", "layers=2..16", "--out", "sweep.csv", "--picture", "sweep.png"];
    let done = run(&dir, SPIRAL, &files);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let table = text(&done.stdout);
    assert!(table.contains("<- most") && table.matches('\n').count() > 16, "{table}");
    let mut reader = csv::Reader::from_path(dir.path().join("sweep.csv")).unwrap();
    assert_eq!(reader.headers().unwrap().get(0), Some("layers"));
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!((rows.len(), &rows[10][0], &rows[10][1]), (15, "12", "240"));
    let picture = image::open(dir.path().join("sweep.png")).unwrap();
    assert!(picture.width() >= 1000 && picture.height() >= 800);
    // What cannot be built keeps its row, in the table and in the file.
    let narrow = run(&dir, SPIRAL, &["--sweep", "trace=0.02..0.62:0.2", "--out", "narrow.csv"]);
    assert!(text(&narrow.stdout).contains("trace width is 0.02 mm"));
    let mut reader = csv::Reader::from_path(dir.path().join("narrow.csv")).unwrap();
    let first = reader.records().next().unwrap().unwrap();
    assert!(first.iter().next_back().unwrap().contains("narrowest trace"), "{first:?}");
}

/// Iron stays behind the last copper when layers are added, so it never helps less than nothing.
#[test]
fn iron_moves_back_with_the_layers() {
    let dir = TempDir::new().unwrap();
    let sweep = ["--sweep", "layers=2..24:2", "--iron-gap-mm", "0.25", "--json"];
    let json: serde_json::Value =
        serde_json::from_slice(&run(&dir, SPIRAL, &sweep).stdout).unwrap();
    let rows = json["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 12);
    for row in rows {
        let of = |key: &str| row["figures"][key].as_f64().unwrap();
        let ratio = of("inductance_with_iron_uh") / of("inductance_uh");
        assert!((1.3..2.0).contains(&ratio), "{}: {ratio}", row["value"]);
    }
}

#[test]
fn wire_is_given_by_diameter_or_by_gauge() {
    let dir = TempDir::new().unwrap();
    let by_gauge = run(&dir, WOUND, &["--awg", "30"]);
    assert!(text(&by_gauge.stdout).contains("wound of 0.255 mm wire: 800 turns"));
    assert_eq!(run(&dir, WOUND, &["--wire-mm", "0.3"]).status.code(), Some(0));
    assert_eq!(run(&dir, WOUND, &[]).status.code(), Some(2));
    assert_eq!(run(&dir, WOUND, &["--awg", "30", "--wire-mm", "0.3"]).status.code(), Some(2));
}

#[test]
fn nonsense_is_refused_with_a_sentence() {
    let dir = TempDir::new().unwrap();
    for (args, more, sentence) in [
        (SPIRAL, &["--volts", "nan"][..], "write a number from 0.5 to 100"),
        (SPIRAL, &["--fluid-mm", "0"], "write a number from 0.1 to 300"),
        (SPIRAL, &["--copper-um", "35,35"], "--copper-um names 2 layers, --layers says 12"),
        (SPIRAL, &["--copper-um", "0.035"], "write micrometres"),
        (SPIRAL, &["--series", "0"], "1 or more"),
        (SPIRAL, &["--sweep", "awg=20..30"], "a spiral has no awg to vary"),
        (SPIRAL, &["--sweep", "layers=9..2"], "2 to 200 values, upwards"),
        (SPIRAL, &["--out", "a.csv"], "--sweep"),
        (WOUND, &["--awg", "90"], "wire gauge is 90 AWG"),
        (WOUND, &["--wire-mm", "9"], "wire diameter is 9 mm"),
    ] {
        let done = run(&dir, args, more);
        let said = text(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{more:?}: {said}");
        assert!(said.contains(sentence), "{more:?}: {said}");
        assert!(done.stdout.is_empty(), "{more:?}");
    }
}

#[test]
fn budget_and_check_say_what_lifting_and_holding_cost() {
    let dir = TempDir::new().unwrap();
    let shipped = concat!(env!("CARGO_MANIFEST_DIR"), "/presets/displays/column12.toml");
    // The worked coil with half the lifting pull from its magnet, at 20 C; u is I over 12 V/13.4046 ohm.
    let full_a: f64 = 12.0 / 13.4046;
    let law = format!(
        "name = \"spiral 35\"\nlaw = {{ magnet = 0.5, per_a = {}, per_a2 = {} }}\n",
        1.51321 / full_a,
        0.777_090 / full_a / full_a
    );
    let tank = std::fs::read_to_string(shipped)
        .unwrap()
        .replace("name = \"spiral 35\"\n", &law)
        .replace("room_c = 28", "room_c = 20")
        .replace("resistance_ohm = 13.4\n", "resistance_ohm = 13.4046\n")
        .replace(
            "[driver]",
            "[pull]\nwishes.held = { margin_percent = 10, lift_at = 0.4 }\n[driver]",
        );
    std::fs::write(dir.path().join("tank.toml"), tank).unwrap();
    let told = |command: &str, more: &[&str]| {
        let done = run(&dir, &[command, "--display", "tank.toml"], more);
        assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
        text(&done.stdout)
    };
    let said = told("budget", &[]);
    let line = said.lines().find(|line| line.contains("0.288")).unwrap_or_else(|| panic!("{said}"));
    // Lifts and drops as worked; held with a tenth more pull at u = 0.1005. PWM of 22 kHz on this coil
    // (x 0.69 at 20 C) takes a little more heat than smooth current, for which it is 0.122 and 0.0494.
    let words: Vec<&str> = line.split_whitespace().collect();
    assert_eq!(words[..8], ["column", "1-12", "0-11", "0.500", "2.790", "0.400", "0.288", "0.064"]);
    assert_eq!((words[8], words[11]), ("0.101", "yes"), "{line}");
    let (held, dropped) = (words[9].parse::<f64>().unwrap(), words[10].trim_matches(['(', ')']));
    assert!((0.122..0.14).contains(&held), "{line}");
    assert!((0.0494..0.065).contains(&dropped.parse().unwrap()), "{line}");
    let json: serde_json::Value = serde_json::from_str(&told("budget", &["--json"])).unwrap();
    assert_eq!(json["coils"][11]["pull"]["lift_wish"], 0.4);
    let said = told("check", &[]);
    let line =
        said.lines().find(|line| line.starts_with("pull")).unwrap_or_else(|| panic!("{said}"));
    for words in
        ["0.50 of the lifting pull at rest", "a wish of 0.40", "duty 0.288", "held at duty 0.101"]
    {
        assert!(line.contains(words), "{line}");
    }
}
