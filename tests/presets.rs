//! Mapping and display files from outside: what ships loads, what is wrong is told well.
//!
//! The files under `bad/` hold one mistake each (one holds several); beside each lies the exact
//! text that a maker sees. After a change of wording, run `REGENERATE=1 cargo test --test presets`
//! and read every text of the set before keeping it.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

use std::fs;
use std::path::{Path, PathBuf};

use coilscore::analysis::{Arith, Channel};
use coilscore::audio::SoundFormat;
use coilscore::budget::{Polarity, Start};
use coilscore::engine::Prepared;
use coilscore::mapper::{Combine, MotionSettings, RangeShape};
use coilscore::preset::{
    self, Display, Finding, Mapping, Names, Refusals, display, load_display, load_mapping, mapping,
};
use coilscore::units::{Celsius, Rate};
use proptest::prelude::*;

const SOUND: SoundFormat = SoundFormat { rate_hz: 44_100, channels: 2 };

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn tomls(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(root().join(folder)).unwrap();
    let mut paths: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    paths.sort();
    paths
}

fn shipped(name: &str) -> String {
    fs::read_to_string(root().join("presets").join(name)).unwrap()
}

fn ring24() -> Display {
    load_display(&root().join("presets/displays/ring24.toml")).unwrap()
}

fn prepare(mapping: &Mapping, display: &Display) -> Result<(Prepared, Names), Refusals> {
    let rate = Rate::new(200, 1).unwrap();
    preset::prepare(mapping, display, SOUND, rate, Start::Cold, Arith::Native)
}

#[test]
fn every_shipped_mapping_suits_every_display_that_has_its_groups() {
    let mut pairs = 0;
    for mapping in tomls("presets").iter().map(|path| load_mapping(path).unwrap()) {
        assert!(mapping.warnings.is_empty(), "{:?}", mapping.warnings);
        for display in tomls("presets/displays").iter().map(|path| load_display(path).unwrap()) {
            assert!(display.warnings.is_empty(), "{:?}", display.warnings);
            let has = |group: &str| {
                group == "all" || display.blocks.iter().any(|block| block.group.value == group)
            };
            let suits = mapping.routes.iter().all(|route| has(&route.moves.group().value));
            let outcome = prepare(&mapping, &display);
            // Coils in a row across the axis cannot have bands laid out along it; nothing else may
            // stand between a mapping and a display that has its groups.
            let across = told_by(&outcome).contains("stand at the same place along");
            assert_eq!(outcome.is_ok(), suits && !across, "{} on {}", mapping.name, display.name);
            pairs += usize::from(outcome.is_ok());
        }
    }
    assert!(pairs >= 10, "only {pairs} pairs");
}

fn told_by<T>(outcome: &Result<T, Refusals>) -> String {
    outcome.as_ref().err().map_or_else(String::new, ToString::to_string)
}

fn told(findings: &[Finding]) -> String {
    findings.iter().map(|finding| format!("{finding}\n")).collect::<Vec<_>>().join("\n")
}

/// What a maker sees for a bad file: refusals, or the warnings of a file that is usable.
fn shown(path: &Path) -> String {
    let name = path.file_name().unwrap().to_str().unwrap();
    let text = fs::read_to_string(path).unwrap();
    let outcome = if name.starts_with("display_") {
        display::read(name, &text).map(|display| display.warnings)
    } else if name.starts_with("mapping_") {
        mapping::read(name, &text).map(|mapping| mapping.warnings)
    } else {
        let mapping = mapping::read(name, &text).unwrap();
        prepare(&mapping, &ring24()).map(|(_, names)| names.warnings)
    };
    outcome.map_or_else(|refusals| format!("{refusals}\n"), |warnings| told(&warnings))
}

#[test]
fn every_bad_file_is_answered_word_for_word() {
    let files = tomls("tests/bad");
    assert!(files.len() >= 30);
    let mut different = Vec::new();
    for path in files {
        let expected = path.with_extension("txt");
        let text = shown(&path);
        assert!(!text.is_empty(), "{} is answered by silence", path.display());
        if std::env::var_os("REGENERATE").is_some() {
            fs::write(&expected, &text).unwrap();
        }
        if fs::read_to_string(&expected).unwrap_or_default() != text {
            different.push(format!("{}:\n{text}", path.display()));
        }
    }
    assert!(different.is_empty(), "answers differ from their .txt:\n{}", different.join("\n"));
}

/// Every key at a value of its own, none at its default.
const WHOLE_MAPPING: &str = r#"
schema = 1
name = "whole"
intent = "Every key once."
combine = "add"
rest_ms = 700
quiet.fixed = { level_dbfs = -48 }
[[route]]
name = "first"
channel = "side"
hears.edges = { hz = [50, 150, 450] }
range.fixed = { floor_dbfs = -55, full_dbfs = -11 }
curve.power = { exponent = 1.5 }
attack_ms = 7
hold_ms = 70
release_ms = 190
moves.along = { group = "b", towards_deg = 45 }
weight = -0.5
[[route]]
name = "second"
channel = "side"
hears.band = { low_hz = 150, high_hz = 450 }
range.follow = { floor_db = -18, full_db = -1 }
curve = "soft"
moves.column = { group = "all", towards_deg = 90, edge_mm = 12 }
"#;

const WHOLE_DISPLAY: &str = r#"
schema = 1
name = "whole"
room_c = 24
driver = { pwm_hz = 30_000, steps = 0x3ff, polarity = "sign_magnitude", hold_ms = 120, knee_ms = 450, ride_s = 90 }
enclosure = { heat_j_per_k = 2000, to_room_k_per_w = 0.5, limit_c = 45 }
neighbours = { within_mm = 40, coils_w_per_k = 0.02, backings_w_per_k = 0.15 }
rail = [{ name = "x", volts = 9, limit_a = 2 }, { name = "y", volts = 12, limit_a = 3 }]
[[coil_type]]
name = "small"
resistance_ohm = 10
reference_c = 25
inductance_uh = 500
coil_j_per_k = 4
backing_j_per_k = 25
coil_to_backing_k_per_w = 2.5
backing_to_around_k_per_w = 15
coil_to_around_k_per_w = 60
coil_limit_c = 85
backing_limit_c = 55
trust.fit = { margin_percent = 8, power_percent = 4 }
[[coils]]
group = "a"
type = "small"
rail = "x"
first_channel = 3
place.line = { count = 2, from_mm = [0, 0], to_mm = [0, 30] }
[[coils]]
group = "b"
type = "small"
rail = "y"
priority = 2
board = 4
channels = [9, 8]
place.at = { mm = [[100, 0], [100, 200]] }
"#;

#[test]
fn every_value_arrives_where_it_is_used() {
    let mapping = mapping::read("m", WHOLE_MAPPING).unwrap();
    let (prepared, names) = prepare(&mapping, &display::read("d", WHOLE_DISPLAY).unwrap()).unwrap();

    let analysis = &prepared.analysis;
    assert_eq!(analysis.quiet_dbfs, Some(-48.0));
    let bands: Vec<_> = analysis.bands.iter().map(|b| (b.low_hz.0, b.high_hz.0)).collect();
    assert_eq!(bands, [(50.0, 150.0), (150.0, 450.0)], "the shared band is measured once");
    assert_eq!(analysis.bands[0].channel, Channel::Side);
    assert_eq!(names.bands, ["50..150 Hz side", "150..450 Hz side"]);

    let mapper = &prepared.mapper;
    assert_eq!((mapper.combine, mapper.rest_s.0), (Combine::Add, 0.7));
    let [first, second] = mapper.routes.as_slice() else { panic!("two routes") };
    assert_eq!((&first.bands, &second.bands), (&vec![0, 1], &vec![1]));
    assert_eq!(first.range, RangeShape::Fixed { floor_dbfs: -55.0, full_dbfs: -11.0 });
    assert_eq!(second.range, RangeShape::Follow { floor_db: -18.0, full_db: -1.0 });
    let envelope = &first.envelope;
    let times = (envelope.attack_s.0, envelope.hold_s.0, envelope.release_s.0);
    assert_eq!(times, (0.007, 0.07, 0.19));
    assert_eq!(first.motion, MotionSettings::Along { towards_deg: 45.0 });
    assert_eq!(first.coils.iter().map(|coil| coil.0).collect::<Vec<_>>(), [2, 3]);
    assert_eq!((first.weight, second.coils.len()), (-0.5, 4));
    assert_eq!((mapper.places[1].y_mm.0, mapper.places[3].x_mm.0), (30.0, 100.0));

    let budget = &prepared.budget;
    assert_eq!(budget.ride.0, 90.0);
    let spans = (budget.room.0, budget.hold_s.0, budget.knee_s.0);
    assert_eq!(spans, (24.0, 0.12, 0.45));
    assert_eq!((budget.rails[1].volts.0, budget.rails[1].limit.0), (12.0, 3.0));
    let coil = &budget.coils[2];
    assert_eq!((coil.rail, coil.priority, coil.steps), (1, 2, 1023));
    assert_eq!(
        (coil.margin, coil.power_scale, coil.polarity),
        (0.08, 1.04, Polarity::SignMagnitude)
    );
    assert_eq!((coil.heat.coil_limit.0, coil.heat.coil_to_around.0), (85.0, 60.0));
    // By hand: 10 ohm * (234.5 + 85) / (234.5 + 25) / (500 uH * 30 kHz).
    assert!((coil.period_over_tau - 0.820_809_2).abs() < 1e-6, "{}", coil.period_over_tau);
    let links: Vec<_> = budget.neighbours.iter().map(|near| (near.a.0, near.b.0)).collect();
    assert_eq!(links, [(0, 1)]);
    assert_eq!(budget.enclosure.unwrap().limit.unwrap().0, 45.0);

    assert_eq!((names.coils[3].label.as_str(), names.coils[3].group), ("b 2", 1));
    assert_eq!((names.coils[3].board, names.coils[3].channel), (4, 8));
    assert_eq!(names.rails, ["x", "y"]);
    assert_eq!(names.routes, ["first", "second"]);
}

#[test]
fn what_is_left_out_is_safe() {
    let text =
        shipped("displays/one.toml").replace("pwm_hz = 22000", "").replace("room_c = 25", "");
    let display = display::read("one", &text).unwrap();
    let mapping = mapping::read("lift", &shipped("lift.toml")).unwrap();
    let budget = prepare(&mapping, &display).unwrap().0.budget;
    assert_eq!(budget.room.0, 35.0, "an unknown room counts as warm");
    assert_eq!(budget.coils[0].period_over_tau, f64::INFINITY, "unknown PWM counts as slow");
    assert_eq!((budget.coils[0].margin, budget.coils[0].power_scale), (0.25, 1.16));
    assert_eq!(budget.coils[0].heat.coil_to_around.0, f64::INFINITY);
    assert_eq!(budget.coils[0].polarity, Polarity::Unipolar);
}

#[test]
fn a_digest_knows_meaning_from_looks() {
    let digest = |text: &str| mapping::read("any path", text).unwrap().digest_hex();
    let plain = digest(WHOLE_MAPPING);
    assert_eq!(plain.len(), 32);
    let commented = WHOLE_MAPPING.replace("attack_ms = 7", "# a remark\n  attack_ms   = 7.0");
    assert_eq!(digest(&commented), plain, "comments and spelling do not count");
    let swapped = WHOLE_MAPPING
        .replace("combine = \"add\"\nrest_ms = 700", "rest_ms = 700\ncombine = \"add\"");
    assert_ne!(swapped, WHOLE_MAPPING);
    assert_eq!(digest(&swapped), plain, "the order of keys does not count");
    let explicit = WHOLE_MAPPING.replace("curve = \"soft\"", "curve = \"soft\"\nattack_ms = 5");
    assert_eq!(digest(&explicit), plain, "a default counts as written");
    let (plus, minus) = (("deg = 45", "deg = 0"), ("deg = 45", "deg = -0.0"));
    let turned = |(from, to)| digest(&WHOLE_MAPPING.replace(from, to));
    assert_eq!(turned(plus), turned(minus), "zero has one digest");
    for (from, to) in [("towards_deg = 45", "towards_deg = 46"), ("-0.5", "0.5"), ("side", "mid")] {
        assert_ne!(digest(&WHOLE_MAPPING.replace(from, to)), plain, "{to} counts");
    }

    let display = |text: &str| display::read("any path", text).unwrap().digest_hex();
    let crlf = WHOLE_DISPLAY.replace('\n', "\r\n");
    assert_eq!(display(&crlf), display(WHOLE_DISPLAY), "line ends do not count");
    let room = WHOLE_DISPLAY.replace("room_c = 24", "room_c = 25");
    assert_ne!(display(&room), display(WHOLE_DISPLAY));
}

/// 20 blocks of 25 by 20 coils, 500 by 400 mm apart: 10,000 coils in one field.
#[test]
fn ten_thousand_coils_are_prepared() {
    let head = WHOLE_DISPLAY.split("[[coils]]").next().unwrap();
    let block = |n: usize| {
        let (x, y) = (n % 5 * 500, n / 5 * 400);
        format!(
            "[[coils]]\ngroup = \"field\"\ntype = \"small\"\nrail = \"x\"\nboard = {n}\n\
             first_channel = 0\nplace.grid = {{ columns = 25, rows = 20, pitch_mm = 20, \
             centre_mm = [{x}, {y}] }}\n"
        )
    };
    let text = head.replace("within_mm = 40", "within_mm = 21").replace("\"y\"", "\"y \"")
        + &(0..20).map(block).collect::<String>();
    let display = display::read("field", &text).unwrap();
    let mapping = mapping::read("lift", &shipped("lift.toml")).unwrap();
    let (prepared, names) = prepare(&mapping, &display).unwrap();
    // A grid of 125 by 80: the links of its rows and those of its columns.
    assert_eq!(prepared.budget.neighbours.len(), 124 * 80 + 125 * 79);
    assert_eq!(prepared.budget.coils.len(), 10_000);
    assert_eq!(names.coils[9_999].label, "field 10000");
    assert_eq!(display.coil_runs()[0].count, 10_000);
}

#[test]
fn a_flood_of_mistakes_is_cut_short() {
    let strays: String = (0..20_000).map(|n| format!("stray_{n} = 0\n")).collect();
    let refusals = mapping::read("flood", &(strays + WHOLE_MAPPING)).unwrap_err();
    assert_eq!(refusals.findings().len(), 500);
    let text = refusals.to_string();
    assert!(text.matches("error:").count() == 20 && text.contains("and 480 more"), "{text}");
}

#[test]
fn deep_nesting_is_refused_and_not_followed() {
    let dotted = format!("{}x = 1", "a.".repeat(50_000));
    let table = format!("x = {}1", "{ a = ".repeat(50_000));
    for text in [format!("x = {}", "[".repeat(50_000)), dotted, table] {
        assert!(display::read("deep", &text).is_err());
    }
}

/// Puts `with` in place of a stretch of `text`, wherever that falls.
fn mutate(text: &str, at: usize, length: usize, with: &str) -> String {
    let start = at % (text.len() + 1);
    let end = (start + length).min(text.len());
    let bytes = [&text.as_bytes()[..start], with.as_bytes(), &text.as_bytes()[end..]].concat();
    String::from_utf8_lossy(&bytes).into_owned()
}

fn is_told_well(text: &str, refusals: &Refusals) -> Result<(), TestCaseError> {
    prop_assert!(!refusals.findings().is_empty());
    prop_assert!(!refusals.to_string().is_empty());
    let lines = text.split('\n').count();
    for mark in refusals.findings().iter().filter_map(Finding::mark) {
        prop_assert!((1..=lines).contains(&mark.line()), "line {} of {lines}", mark.line());
    }
    prop_assert!(refusals.findings().iter().all(|finding| finding.mark().is_some()));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, failure_persistence: None, ..<_>::default() })]

    #[test]
    fn a_damaged_file_is_read_or_refused_with_a_place(
        edits in prop::collection::vec(
            (any::<usize>(), 0_usize..30, r#"[\[\]{}="._a-z0-9äß\n\r\t #,-]{0,8}"#), 1..4),
    ) {
        let damage = |text: &str| {
            edits.iter().fold(text.to_owned(), |t, (at, len, with)| mutate(&t, *at, *len, with))
        };
        let text = damage(WHOLE_MAPPING);
        if let Err(refusals) = mapping::read("m", &text) {
            is_told_well(&text, &refusals)?;
        }
        let text = damage(WHOLE_DISPLAY);
        if let Err(refusals) = display::read("d", &text) {
            is_told_well(&text, &refusals)?;
        }
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}") {
        for refusals in [mapping::read("m", &text).err(), display::read("d", &text).err()] {
            is_told_well(&text, &refusals.expect("no such text is a whole file"))?;
        }
    }
}

#[test]
fn heat_of_another_display_is_refused() {
    let (display, mapping) = (ring24(), mapping::read("lift", &shipped("lift.toml")).unwrap());
    let start = |count| {
        let nodes = Start::Nodes(vec![Celsius(30.0); count]);
        let rate = Rate::new(200, 1).unwrap();
        preset::prepare(&mapping, &display, SOUND, rate, nodes, Arith::Native)
    };
    assert!(start(48).is_ok());
    let refusals = start(49).unwrap_err();
    assert!(refusals.to_string().contains("49 temperatures"), "{refusals}");
}

#[test]
fn a_file_that_cannot_be_read_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tank.toml");
    let answer = || load_display(&path).unwrap_err().to_string();
    assert!(answer().contains("tank.toml: there is no such file"), "{}", answer());
    fs::write(&path, b"schema = 1\nname = \"\xff\"\n").unwrap();
    assert!(answer().contains("line 2 is not UTF-8 text"), "{}", answer());
    fs::write(&path, vec![b'#'; (4 << 20) + 1]).unwrap();
    assert!(answer().contains("larger than 4 MiB"), "{}", answer());
}
