//! Edits as pages make them, on real texts.
#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

use std::fs;
use std::path::PathBuf;

use serde_json::json;

use super::*;
use crate::analysis::Arith;
use crate::audio::SoundFormat;
use crate::units::Rate;

const MAPPING: &str = r#"# Ours, invented.
schema = 1
name = "two"
intent = "One heaves, one climbs."
rest_ms = 700 # slow

# the low one
[[route]]
name = "heave" # all of it
hears.band = { low_hz = 40, high_hz = 120 } # kick
# bends
curve.power = { exponent = 2.0 }
attack_ms = 5
moves.level_all = { group = "ring" }

# the high one
[[route]]
name = "climb"
hears.band = { low_hz = 6_000, high_hz = 14_000 }
curve = "soft" # gently
moves.column = { group = "ring", towards_deg = 90, edge_mm = 40 }
"#;

struct Bench {
    _folder: tempfile::TempDir,
    mapping: PathBuf,
    display: PathBuf,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mapping = folder.path().join("two.toml");
        let display = folder.path().join("ring.toml");
        fs::write(&mapping, MAPPING).unwrap();
        fs::write(&display, include_str!("../../../../presets/displays/ring24.toml")).unwrap();
        Self { _folder: folder, mapping, display }
    }

    fn open(&self) -> (Work, Outcome) {
        let ground = Ground {
            mapping_name: "two.toml".into(),
            display_name: "ring.toml".into(),
            sound: SoundFormat { rate_hz: 48_000, channels: 2 },
            rate: Rate::new(200, 1).unwrap(),
            arith: Arith::Portable,
        };
        let read = |path: &PathBuf| fs::read_to_string(path).unwrap();
        let (mapping, display) = (read(&self.mapping), read(&self.display));
        Work::open(ground, (&self.mapping, &mapping), (&self.display, &display)).unwrap()
    }

    fn text(&self) -> String {
        fs::read_to_string(&self.mapping).unwrap()
    }
}

fn act(json: serde_json::Value) -> Act {
    serde_json::from_value(json).unwrap()
}

fn set(path: serde_json::Value, value: serde_json::Value) -> Act {
    act(json!({ "do": "set", "path": path, "value": value }))
}

/// What stands in the file after these and a save.
fn saved(acts: &[Act]) -> String {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    for act in acts {
        assert!(work.act(act).unwrap().listener.is_some(), "{act:?} was not taken in");
    }
    work.act(&Act::Save).unwrap();
    bench.text()
}

#[test]
fn one_value_changes_and_everything_else_stays_to_the_letter() {
    let low = set(json!(["route", 0, "hears", "band", "low_hz"]), json!(55));
    assert_eq!(saved(&[low]), MAPPING.replace("low_hz = 40,", "low_hz = 55,"));
    let exponent = set(json!(["route", 0, "curve", "power", "exponent"]), json!(3));
    assert_eq!(saved(&[exponent]), MAPPING.replace("exponent = 2.0", "exponent = 3.0"));
    let rest = set(json!(["rest_ms"]), json!(900.5));
    assert_eq!(saved(&[rest]), MAPPING.replace("= 700 #", "= 900.5 #"));
    let name = set(json!(["route", 0, "name"]), json!("lift"));
    assert_eq!(saved(&[name]), MAPPING.replace("\"heave\" #", "\"lift\" #"));
}

#[test]
fn kinds_change_and_keep_their_place_and_the_comment_above() {
    let soft = set(json!(["route", 0, "curve"]), json!("soft"));
    let plain = MAPPING.replace("curve.power = { exponent = 2.0 }", "curve = \"soft\"");
    assert_eq!(saved(std::slice::from_ref(&soft)), plain);
    let power = act(json!({ "do": "kind", "path": ["route", 1, "curve"],
        "example": "curve.power = { exponent = 2.0 }" }));
    let text = saved(&[power]);
    let line = text.lines().find(|line| line.starts_with("curve.power") && !line.contains("bends"));
    assert!(line.is_some(), "{text}");
    assert!(
        text.find("hears.band = { low_hz = 6_000").unwrap() < text.rfind("curve.power").unwrap()
    );
    assert!(text.rfind("curve.power").unwrap() < text.find("moves.column").unwrap(), "{text}");
}

#[test]
fn keys_that_were_left_out_are_added_and_taken_away_again() {
    let weight = || json!(["route", 1, "weight"]);
    let text = saved(&[set(weight(), json!(-0.5))]);
    assert_eq!(text, format!("{MAPPING}weight = -0.5\n"));
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    work.act(&set(weight(), json!(-0.5))).unwrap();
    work.act(&act(json!({ "do": "set", "path": weight() }))).unwrap();
    assert!(!work.standing().unsaved, "back to what the file says");
    work.act(&set(json!(["idle"]), json!({ "level": 0.1 }))).unwrap();
    work.act(&set(
        json!(["route", 0, "range"]),
        json!({ "fixed": { "floor_dbfs": -50, "full_dbfs": -10 } }),
    ))
    .unwrap();
    work.act(&Act::Save).unwrap();
    assert!(bench.text().contains("\nrange.fixed = { floor_dbfs = -50, full_dbfs = -10 }\n"));
}

#[test]
fn routes_come_go_and_move_with_their_comments() {
    let (low, high) = (MAPPING.find("# the low").unwrap(), MAPPING.find("# the high").unwrap());
    let (head, low, high) = (&MAPPING[..low], &MAPPING[low..high], &MAPPING[high..]);
    let moved = saved(&[act(json!({ "do": "move_route", "route": 0, "to": 1 }))]);
    assert_eq!(moved.replace("\n\n", "\n"), format!("{head}{high}{low}").replace("\n\n", "\n"));
    let removed = saved(&[act(json!({ "do": "remove_route", "route": 0 }))]);
    assert_eq!(removed, format!("{head}{high}").replace("\n\n\n", "\n\n"));
    let copied = saved(&[act(json!({ "do": "copy_route", "route": 0 }))]);
    assert_eq!(copied.matches("[[route]]").count(), 3);
    let order: Vec<_> = copied.lines().filter(|line| line.starts_with("name = ")).skip(1).collect();
    assert_eq!(
        order,
        ["name = \"heave\" # all of it", "name = \"heave 2\" # all of it", "name = \"climb\""]
    );
    let added = saved(&[Act::AddRoute, Act::AddRoute]);
    assert!(added.starts_with(MAPPING) && added.contains("name = \"new 2\""), "{added}");
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    work.act(&act(json!({ "do": "remove_route", "route": 1 }))).unwrap();
    let last = work.act(&act(json!({ "do": "remove_route", "route": 0 }))).err().unwrap();
    assert!(last.contains("at least one route"), "{last}");
}

#[test]
fn what_check_refuses_is_refused_with_its_words_and_changes_nothing() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    let before = work.standing();
    let bad = MAPPING.replace("low_hz = 40,", "low_hz = 400,");
    let expected = crate::preset::mapping::read("two.toml", &bad).unwrap_err().to_string();
    let said = work.act(&set(json!(["route", 0, "hears", "band", "low_hz"]), json!(400)));
    assert_eq!(said.err().unwrap(), expected);
    for act in [
        set(json!(["route", 7, "weight"]), json!(1)),
        set(json!(["route", 0, "weight"]), json!("loud")),
        set(json!([]), json!(1)),
        set(json!([0]), json!(1)),
        act(json!({ "do": "set", "path": ["nothing"] })),
        act(json!({ "do": "trim", "coil": 24, "value": 0.5 })),
        act(json!({ "do": "trim", "coil": 0, "value": 1.5 })),
        act(json!({ "do": "move_route", "route": 0, "to": 9 })),
        act(json!({ "do": "kind", "path": ["route", 0, "curve"], "example": "= nonsense" })),
        Act::Undo,
        Act::Redo,
        Act::Reload,
    ] {
        assert!(work.act(&act).is_err(), "{act:?}");
        assert_eq!(work.standing(), before, "{act:?}");
    }
}

#[test]
fn trims_go_into_the_display_file() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    work.act(&act(json!({ "do": "trim", "coil": 3, "value": 0.8, "grip": 1 }))).unwrap();
    work.act(&act(json!({ "do": "trim", "coil": 3, "value": 0.7, "grip": 1 }))).unwrap();
    assert_eq!((work.standing().view.trims[3], work.standing().view.trims[4]), (0.7, 1.0));
    let (mapping, display) = (bench.text(), fs::read_to_string(&bench.display).unwrap());
    work.act(&Act::Save).unwrap();
    assert_eq!(bench.text(), mapping, "the mapping has nothing to do with it");
    let after = fs::read_to_string(&bench.display).unwrap();
    let expected = [1.0, 1.0, 1.0, 0.7].map(|trim| format!("{trim:?}")).join(", ");
    assert!(after.contains(&format!("trim = [{expected}, 1.0")), "{after}");
    assert!(after.starts_with(display.trim_end()), "nothing else changed");
    work.act(&Act::Undo).unwrap();
    assert_eq!(work.standing().view.trims[3], 1.0, "one drag is one step");
}

#[test]
fn two_versions_stand_side_by_side() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    let low = |hz: i32| set(json!(["route", 0, "hears", "band", "low_hz"]), json!(hz));
    let reads =
        |work: &Work| work.standing().mapping["route"][0]["hears"]["band"]["low_hz"].clone();
    work.act(&low(50)).unwrap();
    assert!(work.act(&Act::OtherVersion).unwrap().listener.is_some());
    assert_eq!((reads(&work), work.standing().version), (json!(40), 1));
    work.act(&low(60)).unwrap();
    work.act(&Act::OtherVersion).unwrap();
    assert_eq!(reads(&work), json!(50), "each keeps its own");
    work.act(&Act::Undo).unwrap();
    assert_eq!(reads(&work), json!(40));
    work.act(&Act::OtherVersion).unwrap();
    assert_eq!(reads(&work), json!(60));
    work.act(&Act::CopyVersion).unwrap();
    assert!(!work.standing().versions_differ);
}

#[test]
fn silent_routes_are_never_saved() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    let quiet = |what: &str, on: bool| act(json!({ "do": what, "route": "heave", "on": on }));
    assert!(work.act(&quiet("mute", true)).unwrap().listener.is_some());
    assert!(!work.standing().unsaved && !work.standing().quieted.lets("heave"));
    work.act(&quiet("mute", false)).unwrap();
    work.act(&quiet("solo", true)).unwrap();
    let quieted = work.standing().quieted;
    assert!(quieted.lets("heave") && !quieted.lets("climb"));
    work.act(&Act::Save).unwrap();
    assert_eq!(bench.text(), MAPPING);
}

#[test]
fn a_file_changed_in_an_editor_is_taken_over_unless_that_would_cover_changes() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    let reads = |work: &Work| work.standing().mapping["rest_ms"].clone();
    assert!(work.look_outside().is_none());
    fs::write(&bench.mapping, MAPPING.replace("700", "800")).unwrap();
    assert!(work.look_outside().unwrap().listener.is_some());
    assert_eq!(reads(&work), json!(800));
    // Refused: the old one goes on.
    fs::write(&bench.mapping, MAPPING.replace("700", "\"slow\"")).unwrap();
    let told = work.look_outside().unwrap();
    assert!(told.listener.is_none() && told.notice.unwrap().contains("rest_ms"));
    assert_eq!(reads(&work), json!(800));
    assert!(work.act(&Act::Save).is_ok(), "nothing of ours to save");
    // Changes of our own: told once, and both are kept.
    fs::write(&bench.mapping, MAPPING.replace("700", "800")).unwrap();
    work.look_outside();
    work.act(&set(json!(["rest_ms"]), json!(500))).unwrap();
    fs::write(&bench.mapping, MAPPING.replace("700", "900")).unwrap();
    assert!(work.look_outside().unwrap().notice.is_some());
    assert!(work.look_outside().is_none() && work.standing().outside);
    assert!(work.act(&Act::Save).err().unwrap().contains("was changed outside"));
    assert!(bench.text().contains("900"), "left alone");
    work.act(&Act::Reload).unwrap();
    assert_eq!(reads(&work), json!(900));
    work.act(&Act::Undo).unwrap();
    assert_eq!(reads(&work), json!(500), "ours is one undo away");
    work.act(&Act::Save).unwrap();
    assert!(bench.text().contains("rest_ms = 500 # slow"));
}

#[test]
fn a_crash_loses_nothing_that_a_draft_kept() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    work.act(&set(json!(["rest_ms"]), json!(500))).unwrap();
    work.keep_draft().unwrap();
    drop(work);
    let (mut work, outcome) = bench.open();
    assert!(outcome.listener.is_some() && outcome.notice.unwrap().contains("recovered"));
    assert_eq!(work.standing().mapping["rest_ms"], json!(500));
    assert!(work.standing().unsaved && bench.text() == MAPPING);
    work.act(&Act::Undo).unwrap();
    assert_eq!(work.standing().mapping["rest_ms"], json!(700));
    drop(work);
    fs::write(&bench.mapping, MAPPING.replace("5\n", "6\n")).unwrap();
    let (mut work, outcome) = bench.open();
    assert!(outcome.listener.is_none() && outcome.notice.unwrap().contains("version 2"));
    let aside = bench.mapping.with_extension("toml.draft.1");
    assert!(fs::read_to_string(&aside).unwrap().contains("500"), "kept besides");
    work.keep_draft().unwrap();
    work.act(&Act::OtherVersion).unwrap();
    assert_eq!(work.standing().mapping["rest_ms"], json!(500));
}

#[test]
fn a_draft_that_is_refused_is_kept() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    work.act(&set(json!(["rest_ms"]), json!(500))).unwrap();
    work.keep_draft().unwrap();
    drop(work);
    let draft = draft_of(&bench.mapping);
    let spoiled = fs::read_to_string(&draft).unwrap().replace("500", "\"long\"");
    fs::write(&draft, &spoiled).unwrap();
    let (mut work, outcome) = bench.open();
    assert!(outcome.listener.is_none());
    let notice = outcome.notice.unwrap();
    assert!(notice.contains("cannot be used") && notice.contains("toml.draft.1"), "{notice}");
    work.keep_draft().unwrap();
    assert_eq!(fs::read_to_string(bench.mapping.with_extension("toml.draft.1")).unwrap(), spoiled);
    assert_eq!(work.standing().mapping["rest_ms"], json!(700), "the file plays");
}

#[test]
fn a_refusal_of_what_an_editor_wrote_is_told_once() {
    let bench = Bench::new();
    let (mut work, _) = bench.open();
    fs::write(&bench.mapping, "schema = 9").unwrap();
    assert!(work.look_outside().unwrap().notice.unwrap().contains("cannot be used"));
    assert!(work.look_outside().is_none());
    fs::write(&bench.mapping, "schema = 8").unwrap();
    assert!(work.look_outside().is_some(), "another text, another answer");
    fs::write(&bench.mapping, MAPPING).unwrap();
    assert!(work.look_outside().is_none() && !work.standing().outside);
}
