//! What pages do together: editing, taking over, saving, coming back after a crash.

use std::fs;

use serde_json::json;

use super::program::Program;

fn low(hz: i32) -> serde_json::Value {
    json!({ "do": "set", "path": ["route", 0, "hears", "band", "low_hz"], "value": hz, "grip": 1 })
}

#[test]
fn an_edit_is_heard_saved_and_never_resets_the_heat() {
    let program = Program::start(&[]);
    let written = program.mapping();
    let mut page = program.page();
    // Warm up a little.
    while page.look().frame < 500 {}
    let before = page.look();
    for route in ["heave", "chords", "climb"] {
        page.act(json!({ "do": "mute", "route": route, "on": true })).unwrap();
    }
    let edit = before.edit + 3;
    let after = loop {
        let look = page.look();
        if look.edit >= edit && look.duty.iter().all(|&duty| duty == 0.0) {
            break look;
        }
    };
    assert!(after.frame > before.frame, "frames go on");
    let warmest =
        |look: &super::program::Look| look.node_c[..24].iter().copied().fold(0.0, f32::max);
    assert!(warmest(&before) > 26.0, "nothing was warm: {}", warmest(&before));
    // 4 J/K over 2.5 K/W: in the time of a few looks a coil loses next to nothing.
    let left = (warmest(&after) - 25.0) / (warmest(&before) - 25.0);
    assert!(left > 0.8, "heat was reset: {left}");
    assert_eq!(page.act(low(50)), Ok(()));
    page.until("unsaved", |standing| standing["work"]["unsaved"] == true);
    assert_eq!(page.act(json!({ "do": "save" })), Ok(()));
    assert_eq!(program.mapping(), written.replace("low_hz = 40,", "low_hz = 50,"));
    page.until("saved", |standing| standing["work"]["unsaved"] == false);
    let sentence = page.act(low(500)).unwrap_err();
    let bad = written.replace("low_hz = 40,", "low_hz = 500,");
    let expected = coilscore::preset::mapping::read("tide.toml", &bad).unwrap_err().to_string();
    assert_eq!(sentence, expected, "not the words of check");
}

#[test]
fn a_second_page_looks_on_and_may_take_over_and_both_are_told() {
    let program = Program::start(&[]);
    let (mut one, mut two) = (program.page(), program.page());
    two.until("two pages", |standing| standing["pages"] == 2);
    assert_eq!(two.standing["holder"], one.number);
    assert!(two.act(low(50)).unwrap_err().contains("take over first"));
    // All off is for everyone; driving again is not.
    let hands =
        |off: bool| json!({ "hands": { "all_off": off, "hold": false, "level_percent": 100 } });
    assert_eq!(two.say(hands(true)), Ok(()));
    one.until("all off", |standing| standing["hands"]["all_off"] == true);
    assert!(two.say(hands(false)).is_err());
    assert_eq!(one.say(hands(false)), Ok(()));
    assert_eq!(two.say(json!({ "take": true })), Ok(()));
    let told = format!("page {} took editing over from page {}", two.number, one.number);
    one.noticed(&told);
    two.noticed(&told);
    assert_eq!(two.act(low(50)), Ok(()));
    assert!(one.act(low(60)).is_err());
    one.until("the edit of the other", |standing| {
        standing["work"]["mapping"]["route"][0]["hears"]["band"]["low_hz"] == 50
    });
    drop(two);
    one.noticed("any page may take over");
    assert_eq!(one.say(json!({ "take": true })), Ok(()));
    assert_eq!(one.act(json!({ "do": "undo" })), Ok(()), "undo is of the work, not of the page");
}

#[test]
fn a_mapping_changed_in_an_editor_is_played_and_a_bad_one_is_not() {
    let program = Program::start(&[]);
    let mut page = program.page();
    let (path, written) = (program.folder.path().join("tide.toml"), program.mapping());
    fs::write(&path, written.replace("weight = 0.9", "weight = 0.4")).unwrap();
    page.until("the new weight", |it| it["work"]["mapping"]["route"][0]["weight"] == 0.4);
    fs::write(&path, written.replace("weight = 0.9", "weight = 9")).unwrap();
    page.noticed("cannot be used");
    assert!(page.notices.iter().any(|it| it.contains("weight")), "{:?}", page.notices);
    assert_eq!(page.standing["work"]["mapping"]["route"][0]["weight"], 0.4);
}

#[test]
fn after_a_crash_the_draft_is_there() {
    let program = Program::start(&[]);
    let mut page = program.page();
    page.act(low(55)).unwrap();
    let draft = program.folder.path().join("tide.toml.draft");
    while !draft.exists() {
        page.look();
    }
    let folder = program.kill();
    let program = Program::start_in(folder, &[]);
    let mut page = program.page();
    let recovered =
        |it: &serde_json::Value| it["work"]["mapping"]["route"][0]["hears"]["band"]["low_hz"] == 55;
    page.until("the draft", recovered);
    assert!(program.mapping().contains("low_hz = 40,"), "the file is as it was");
    page.act(json!({ "do": "save" })).unwrap();
    assert!(program.mapping().contains("low_hz = 55,") && !draft.exists());
}
