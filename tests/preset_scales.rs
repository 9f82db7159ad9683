//! Scales and weighting as a mapping file says them: what reaches the analysis, what people see.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

use std::path::Path;
use std::process::Command;

use coilscore::analysis::{Analysis, Arith, BandRequest, Weighting};
use coilscore::audio::SoundFormat;
use coilscore::budget::Start;
use coilscore::engine::Prepared;
use coilscore::frame::BandHead;
use coilscore::preset::{Names, load_display, mapping, prepare};
use coilscore::units::Rate;

const DISPLAY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/presets/displays/ring24.toml");

/// A mapping whose routes hear as written; `along` where several bands are heard.
fn text(hears: &[&str]) -> String {
    let mut text = "schema = 1\nname = \"scales\"\nintent = \"Invented.\"\n".to_owned();
    for (number, hears) in hears.iter().enumerate() {
        let many = hears.starts_with("hears.bands =") || hears.starts_with("hears.edges =");
        let moves = if many { "along = { towards_deg = 0," } else { "level_all = {" };
        text += &format!(
            "[[route]]\nname = \"r{number}\"\n{hears}\nmoves.{moves} group = \"all\" }}\n"
        );
    }
    text
}

fn prepared(hears: &[&str], rate_hz: u32) -> (Prepared, Names) {
    let mapping = mapping::read("m", &text(hears)).unwrap();
    let display = load_display(Path::new(DISPLAY)).unwrap();
    let sound = SoundFormat { rate_hz, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Native).unwrap()
}

fn edges(bands: &[BandRequest]) -> Vec<(f64, f64)> {
    bands.iter().map(|band| (band.low_hz.0, band.high_hz.0)).collect()
}

#[test]
fn every_scale_arrives_as_bands() {
    let bands = |hears: &str| edges(&prepared(&[hears], 44_100).0.analysis.bands);
    let bark = bands("hears.bands = { scale = \"bark\", from_band = 2, to_band = 5 }");
    assert_eq!(bark, [(100.0, 200.0), (200.0, 300.0), (300.0, 400.0), (400.0, 510.0)]);
    let last = bands("hears.scale_band = { scale = \"bark\", band = 24 }");
    assert_eq!(last, [(12_000.0, 15_500.0)]);

    // Glasberg and Moore's ERB-rate is 6.862 at 250 Hz and 27.107 at 4 kHz: room for 20 bands.
    let erb = bands("hears.bands = { scale = \"erb\", from_hz = 250, to_hz = 4000 }");
    assert_eq!((erb.len(), erb[0].0, erb[19].1), (20, 250.0, 4000.0));
    // By hand: (27.107422 - 6.862241) / 4 = 5.061295 up from 6.862241 is 11.923536, and
    // (10^(11.923536 / 21.4) - 1) / 0.00437 = 596.61 Hz.
    let four = bands("hears.bands = { scale = \"erb\", from_hz = 250, to_hz = 4000, count = 4 }");
    assert!((four[0].1 - 596.61).abs() < 0.05 && four.len() == 4, "{four:?}");

    let mel = bands("hears.bands = { scale = \"mel\", from_hz = 30, to_hz = 16000, count = 17 }");
    // librosa 0.11.0, `filters.mel(htk=True)`, 16 filters over the same span: second corner.
    assert!((mel[0].1 - 177.580_956).abs() < 1e-6 && mel.len() == 17, "{mel:?}");
    for all in [erb, four, mel] {
        assert!(all.windows(2).all(|pair| pair[0].1 == pair[1].0), "{all:?} leave gaps");
    }
}

#[test]
fn a_weighted_band_is_another_band() {
    let band = "hears.band = { low_hz = 300, high_hz = 900 }";
    let weighted = format!("{band}\nweighting = \"a\"");
    let plain = format!("{band}\nweighting = \"none\"");
    let (prepared, names) = prepared(&[band, &weighted, &plain, &weighted], 44_100);
    let bands = &prepared.analysis.bands;
    let weightings: Vec<_> = bands.iter().map(|band| band.weighting).collect();
    assert_eq!(weightings, [Weighting::None, Weighting::A]);
    let heard: Vec<_> = prepared.mapper.routes.iter().map(|route| route.bands[0]).collect();
    assert_eq!(heard, [0, 1, 0, 1], "each is measured once");
    assert_eq!(names.bands, ["300..900 Hz all", "300..900 Hz all, A-weighted"]);

    let digest = |hears: &str| mapping::read("m", &text(&[hears])).unwrap().digest_hex();
    assert_eq!(digest(band), digest(&plain), "what is left out counts as none");
    assert_ne!(digest(band), digest(&weighted));
}

#[test]
fn narrow_bands_of_a_scale_are_heard_wider_around_the_same_middle() {
    let thirds = "hears.bands = { scale = \"third_octave\", from_hz = 10, to_hz = 100 }";
    let mels = "hears.bands = { scale = \"mel\", from_hz = 20, to_hz = 20000, count = 128 }";
    for rate_hz in [8000, 44_100, 192_000] {
        for hears in [thirds, mels] {
            let (fitted, names) = prepared(&[hears], rate_hz);
            let asked =
                mapping::read("m", &text(&[hears])).unwrap().routes[0].hears.value.bands_hz();
            assert!(Analysis::new(&fitted.analysis).is_ok(), "{rate_hz}: {hears}");
            assert!(!names.warnings.is_empty());
            let mut widened = 0;
            for ((low, high), (wide_low, wide_high)) in
                asked.into_iter().zip(edges(&fitted.analysis.bands))
            {
                assert!((low + high - wide_low - wide_high).abs() < 1e-9, "{low} to {high}");
                assert!(wide_low <= low && wide_high >= high);
                widened += usize::from(wide_low < low);
            }
            let told: usize = names.warnings.iter().map(|warning| count(warning.title())).sum();
            assert_eq!(told, widened, "{rate_hz}: {hears}");
        }
    }
}

/// The 3 of `route 1, hears: 3 of 24 bands...`.
fn count(title: &str) -> usize {
    title.split("hears: ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap()
}

#[test]
fn check_tells_weighting_and_widening() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("scales.toml");
    let thirds = "hears.bands = { scale = \"third_octave\", from_hz = 50, to_hz = 100 }";
    let text = text(&[&format!("{thirds}\nweighting = \"a\"")]);
    std::fs::write(&path, text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    let out =
        command.args(["check", "--display", DISPLAY, "--preset"]).arg(&path).output().unwrap();
    let (said, warned) =
        (String::from_utf8(out.stdout).unwrap(), String::from_utf8(out.stderr).unwrap());
    assert_eq!(out.status.code(), Some(0), "{warned}");
    // By hand: 1.5 / 128 ms = 11.72 Hz around (44.668 + 56.234) / 2 Hz.
    assert!(said.contains("44.6..56.3 Hz all, A-weighted"), "{said}");
    assert!(said.contains("56.2..70.8 Hz all, A-weighted"), "{said}");
    let sentence = "1 of 4 bands, 44.7 to 56.2 Hz, is too narrow and heard 11.7 Hz wide";
    assert!(warned.contains(sentence), "{warned}");
    assert!(warned.contains("it would need 130 ms of sound, and 128 ms are heard"), "{warned}");
}

#[test]
fn heads_of_older_files_are_unweighted() {
    let old = r#"{"low_hz":40.0,"high_hz":120.0,"channel":"all","delay_s":0.015}"#;
    let mut band: BandHead = serde_json::from_str(old).unwrap();
    assert_eq!(band.weighting, "none");
    assert_eq!(serde_json::to_string(&band).unwrap(), old, "and stay byte for byte as they were");
    band.weighting = Weighting::A.word().into();
    let new = serde_json::to_string(&band).unwrap();
    assert!(new.contains(r#""weighting":"a""#), "{new}");
    assert_eq!(serde_json::from_str::<BandHead>(&new).unwrap(), band);
}

/// The lines of the README that show how bands are written can be written so.
#[test]
fn the_readme_shows_bands_as_they_are_written() {
    let readme = include_str!("../README.md");
    let shown: Vec<_> = readme.split("```text").filter(|part| part.contains("hears.")).collect();
    let blocks = shown.iter().map(|part| part.split("```").next().unwrap());
    let lines: Vec<_> =
        blocks.flat_map(str::lines).filter(|line| line.starts_with("hears.")).collect();
    assert!(lines.len() >= 14, "{lines:?}");
    for line in lines {
        let (prepared, names) = prepared(&[line], 44_100);
        let heard = prepared.analysis.bands.len() + prepared.analysis.ears.len();
        assert!(names.warnings.is_empty() && heard > 0, "{line}");
    }
}
