//! README's example files are what they claim to be: complete, and accepted without a warning.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

use coilscore::analysis::Arith;
use coilscore::audio::SoundFormat;
use coilscore::budget::Start;
use coilscore::preset::{load_display, load_mapping, prepare};
use coilscore::units::Rate;

#[test]
fn the_examples_in_the_readme_fit_together() {
    let readme = include_str!("../README.md");
    let mut examples = readme.split("```toml\n").skip(1).map(|rest| {
        let (text, _) = rest.split_once("```").unwrap();
        text
    });
    let dir = tempfile::tempdir().unwrap();
    let mut file = |name: &str| {
        let path = dir.path().join(name);
        std::fs::write(&path, examples.next().unwrap()).unwrap();
        path
    };
    let mapping =
        load_mapping(&file("mapping.toml")).unwrap_or_else(|refusals| panic!("{refusals}"));
    let display =
        load_display(&file("display.toml")).unwrap_or_else(|refusals| panic!("{refusals}"));
    assert!(examples.next().is_none(), "an example that nothing checks");

    let warnings: Vec<String> =
        mapping.warnings.iter().chain(&display.warnings).map(ToString::to_string).collect();
    assert!(warnings.is_empty(), "{}", warnings.join("\n"));
    let sound = SoundFormat { rate_hz: 44_100, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Native)
        .unwrap_or_else(|refusals| panic!("{refusals}"));
}
