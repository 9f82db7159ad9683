//! The page in a real browser: Debian's chromium.

use std::fs;

use serde_json::Value;

use super::driver::Browser;
use super::program::{Program, folder};

const TAB: &str = "\u{e004}";
const SHIFT: &str = "\u{e008}";
const CTRL: &str = "\u{e009}";
const RIGHT: &str = "\u{e014}";
const UP: &str = "\u{e013}";
const ENTER: &str = "\u{e007}";

/// Keeps the least and the most duty of the last second, which is two beats.
const WATCH: &str = "const last = []; const look = () => { \
    last.push(Math.max(...coilscore.page.look.duty)); if (last.length > 50) last.shift(); \
    if (last.length === 50) { coilscore.least = Math.min(...last); coilscore.most = Math.max(...last); } \
    setTimeout(look, 20); }; look();";

const STANDING: &str = "coilscore.page.standing.work";

fn opened(program: &Program, width: u32, height: u32, phone: bool) -> Browser {
    let browser = Browser::open(width, height, phone);
    browser.go(&format!("http://127.0.0.1:{}/", program.port));
    browser.until("the page plays", "coilscore.looks > 20 && coilscore.frames > 5");
    browser
}

/// Nothing went wrong, and nothing was asked of anybody else.
fn clean(browser: &Browser, program: &Program) {
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{complaints:?}");
    let asked = browser.run("return performance.getEntriesByType('resource').map((it) => it.name)");
    for name in asked.as_array().unwrap() {
        let own = format!("http://127.0.0.1:{}/", program.port);
        let name = name.as_str().unwrap();
        assert!(name.starts_with(&own) || name.starts_with("data:"), "{name}");
    }
    let wider = browser.run("return document.documentElement.scrollWidth - innerWidth");
    assert!(wider.as_i64().unwrap() <= 0, "{wider} pixels stick out");
}

/// Keeps a picture where it is asked for, to be looked at.
fn keep(browser: &Browser, name: &str) {
    let picture = browser.picture();
    assert!(picture.len() > 20_000, "an empty picture");
    if let Some(folder) = std::env::var_os("COILSCORE_PICTURES") {
        fs::write(std::path::Path::new(&folder).join(format!("{name}.png.base64")), picture)
            .unwrap();
    }
}

#[test]
fn an_edge_is_dragged_the_duty_changes_and_it_is_undone_saved_and_loaded_again() {
    let program = Program::start(&[]);
    let written = program.mapping();
    let browser = opened(&program, 1440, 1000, false);
    // Only the first route, which hears a beat at 70 Hz: all its coils rise and fall with it.
    browser.click("#solo-0");
    browser.run(WATCH);
    browser.until("the beat", "coilscore.least < 0.05 && coilscore.most > 0.3");
    // Both edges up, to where a steady tone at 477 Hz is all there is: the coils stay up.
    let hears = format!("{STANDING}.mapping.route[0].hears.band");
    browser.drag("[data-edge='route.0.hears.band.high_hz.']", 230);
    browser.until("a higher edge", &format!("{hears}.high_hz > 600 && {STANDING}.unsaved"));
    browser.drag("[data-edge='route.0.hears.band.low_hz.']", 240);
    browser.until("both edges higher", &format!("{hears}.low_hz > 250"));
    browser.until("the duty to stay up", "coilscore.least > 0.3");
    let high = browser.run(&format!("return {hears}.high_hz")).as_f64().unwrap();
    browser.click("#undo");
    browser.until("undo", &format!("{hears}.low_hz === 40"));
    assert_eq!(browser.run(&format!("return {hears}.high_hz")), high, "one drag is one step");
    browser.click("#undo");
    browser.until("undo", &format!("{hears}.high_hz === 120 && !{STANDING}.can_undo"));
    browser.until("the beat again", "coilscore.least < 0.05 && coilscore.most > 0.3");
    browser.click("#redo");
    browser.until("redo", &format!("{STANDING}.unsaved"));
    browser.click("#save");
    browser.until("save", &format!("!{STANDING}.unsaved"));
    let number = serde_json::to_string(&serde_json::json!(high)).unwrap();
    let number = number.trim_end_matches(".0");
    assert_eq!(program.mapping(), written.replace("high_hz = 120", &format!("high_hz = {number}")));
    browser.go(&format!("http://127.0.0.1:{}/", program.port));
    browser.until(
        "the saved edge",
        &format!("{STANDING}.mapping.route[0].hears.band.high_hz === {high}"),
    );
    clean(&browser, &program);
}

#[test]
fn what_is_refused_says_so_at_its_field() {
    let program = Program::start(&[]);
    let browser = opened(&program, 1440, 1000, false);
    browser.until("to be the editing page", "coilscore.page.standing.holder === coilscore.page.me");
    let field = "document.querySelector('[data-path=\"route.0.hears.band.low_hz\"]')";
    browser.run(&format!(
        "const it = {field}; it.focus(); it.value = '500'; it.dispatchEvent(new Event('input'));"
    ));
    browser.until(
        "the sentence",
        &format!("!document.getElementById({field}.getAttribute('aria-describedby')).hidden"),
    );
    let said = browser.run(&format!(
        "return document.getElementById({field}.getAttribute('aria-describedby')).textContent"
    ));
    let bad = program.mapping().replace("low_hz = 40,", "low_hz = 500,");
    let expected = coilscore::preset::mapping::read("tide.toml", &bad).unwrap_err().to_string();
    assert_eq!(said, Value::from(expected));
    assert_eq!(browser.run(&format!("return {STANDING}.mapping.route[0].hears.band.low_hz")), 40);
    clean(&browser, &program);
}

#[test]
fn everything_can_be_done_with_the_keyboard_alone() {
    let program = Program::start(&[]);
    let browser = opened(&program, 1440, 1000, false);
    // Round the page once: every button, field and edge gets the focus, and shows it.
    let all = "document.querySelectorAll('button:enabled, input:enabled, select:enabled, canvas[tabindex]')";
    browser.run("coilscore.focused = new Set(); coilscore.unseen = []; document.addEventListener('focusin', (e) => { \
        coilscore.focused.add(e.target); const style = getComputedStyle(e.target); \
        if (style.outlineStyle === 'none') coilscore.unseen.push(e.target.id || e.target.className); });");
    let shown = browser.run(&format!("return [...{all}].filter((it) => it.offsetParent).length"));
    for _ in 0..=shown.as_u64().unwrap() {
        browser.keys(&[], &[TAB]);
    }
    let missed = format!(
        "return [...{all}].filter((it) => it.offsetParent && !coilscore.focused.has(it)).map((it) => it.outerHTML)"
    );
    assert_eq!(browser.run(&missed), serde_json::json!([]));
    assert_eq!(browser.run("return coilscore.unseen"), serde_json::json!([]));
    // All off and back, by letters.
    browser.run("document.activeElement.blur()");
    browser.keys(&[], &["o"]);
    browser.until(
        "all off",
        "coilscore.page.standing.hands.all_off && coilscore.page.look.duty.every((it) => it === 0)",
    );
    browser.keys(&[], &["r"]);
    browser.until("driving", "coilscore.page.look.duty.some((it) => it > 0)");
    // An edge by arrows, undone by Ctrl Z, compared by c.
    browser.run("document.querySelector('[data-edge=\"route.0.hears.band.low_hz.\"]').focus()");
    browser.keys(&[], &[RIGHT, RIGHT]);
    browser.until("an edge moved", &format!("{STANDING}.mapping.route[0].hears.band.low_hz > 44"));
    browser.keys(&[SHIFT], &[UP]);
    browser.until(
        "a third of an octave",
        &format!("{STANDING}.mapping.route[0].hears.band.low_hz > 55"),
    );
    browser.keys(&[], &["c"]);
    browser.until(
        "the other version",
        &format!(
            "{STANDING}.version === 1 && {STANDING}.mapping.route[0].hears.band.low_hz === 40"
        ),
    );
    browser.keys(&[], &["c"]);
    browser.until(
        "the first version",
        &format!("{STANDING}.version === 0 && {STANDING}.mapping.route[0].hears.band.low_hz > 55"),
    );
    browser.keys(&[CTRL], &["z"]);
    browser.until("undo", &format!("{STANDING}.mapping.route[0].hears.band.low_hz === 40"));
    // A coil by arrows, and its trim.
    browser.run("document.getElementById('tank').focus()");
    browser.keys(&[], &[RIGHT, RIGHT, RIGHT]);
    browser.until(
        "a coil's figures",
        "document.getElementById('coil').textContent.includes('winding')",
    );
    browser.keys(&[], &[TAB]);
    assert_eq!(browser.run("return document.activeElement.id"), "trim");
    browser.keys(&[CTRL], &["a"]);
    browser.keys(&[], &["0", ".", "5", ENTER]);
    browser.until("a trim", &format!("{STANDING}.trims.includes(0.5)"));
    browser.keys(&[CTRL], &["s"]);
    browser.until("saved", &format!("!{STANDING}.unsaved"));
    let display = fs::read_to_string(program.folder.path().join("displays/ring24.toml")).unwrap();
    assert!(display.contains("trim = [") && display.contains("0.5"), "{display}");
    clean(&browser, &program);
}

#[test]
fn it_is_readable_on_a_phone_and_light_with_256_coils() {
    for (display, coils) in [("ring24", 24), ("grid256", 256)] {
        let program = Program::start_in(folder(display), &[]);
        for (name, width, height, phone) in [("phone", 360, 640, true), ("desk", 1920, 1080, false)]
        {
            let browser = opened(&program, width, height, phone);
            browser.run("coilscore.from = [performance.now(), coilscore.frames, coilscore.looks]");
            browser.until("three seconds", "performance.now() - coilscore.from[0] > 3000");
            let rate = browser.run("const [t, frames, looks] = coilscore.from; const s = (performance.now() - t) / 1000; \
                return [(coilscore.frames - frames) / s, (coilscore.looks - looks) / s]");
            let weight = browser.run("return performance.getEntriesByType('resource').reduce((sum, it) => sum + it.transferSize, 0)");
            // What a machine can do is measured, not asserted.
            eprintln!(
                "{coils} coils, {name}: {} pictures/s, {} looks/s, {weight} bytes",
                rate[0], rate[1]
            );
            assert!(weight.as_u64().unwrap() < 150_000, "{weight} bytes");
            let small = browser.run("return [...document.querySelectorAll('button, input, select, p, output, label')]\
                .filter((it) => it.offsetParent && parseFloat(getComputedStyle(it).fontSize) < 11.5).map((it) => it.outerHTML)");
            assert_eq!(small, serde_json::json!([]), "too small to read");
            keep(&browser, &format!("{coils}-{name}"));
            // However far down somebody edits, all off is in reach.
            browser.run("scrollTo(0, document.body.scrollHeight)");
            let seen = browser.run(
                "const box = document.getElementById('off').getBoundingClientRect(); \
                return scrollY > 100 && box.top >= 0 && box.bottom <= innerHeight",
            );
            assert_eq!(seen, Value::from(true), "{name}: all off is out of sight");
            clean(&browser, &program);
        }
    }
}

#[test]
fn the_browser_plays_the_song_in_step() {
    let program = Program::start(&[]);
    let browser = opened(&program, 1440, 1000, false);
    browser.click("#sound");
    browser
        .until("sound", "document.getElementById('sound').getAttribute('aria-pressed') === 'true'");
    browser.until(
        "to be in step",
        "/sound -?\\d+ ms off/.test(document.getElementById('at').textContent)",
    );
    let off = browser.run("return document.getElementById('at').textContent");
    eprintln!("{off}");
    clean(&browser, &program);
}
