//! The evening at the bench, as its script runs it.

use std::fs;
use std::process::Command;

use coilscore::preset::display;
use tempfile::TempDir;

use super::text;

#[test]
fn the_bench_session_goes_from_drawing_to_budget() {
    let folder = TempDir::new().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/bench/session");
    let done = Command::new(script)
        .arg(folder.path())
        .env("COILSCORE", env!("CARGO_BIN_EXE_coilscore"))
        .output()
        .unwrap();
    let said = text(&done.stdout);
    assert_eq!(done.status.code(), Some(0), "{said}{}", text(&done.stderr));
    for words in ["240 turns", "Written into display.toml", "found for the bias asked", "limits C"]
    {
        assert!(said.contains(words), "{words}");
    }
    assert!(!said.contains("CAUTION"), "the invented test stays within limits");
    for file in ["layers.csv", "layers.png", "fit.png", "bias.csv", "bias.png"] {
        assert!(fs::metadata(folder.path().join(file)).unwrap().len() > 500, "{file}");
    }
    let written = fs::read_to_string(folder.path().join("display.toml")).unwrap();
    let display = display::read("display.toml", &written).unwrap();
    let coil = &display.coil_types[0];
    // What the log was made of: 4.1 J/K, 2.4 K/W, 26 J/K, 14 K/W.
    for (got, made) in [
        (coil.coil_j_per_k, 4.1),
        (coil.coil_to_backing_k_per_w, 2.4),
        (coil.backing_j_per_k, 26.0),
        (coil.backing_to_around_k_per_w, 14.0),
    ] {
        assert!((got / made - 1.0).abs() < 0.03, "{got} for {made}");
    }
    let pulls = display.pulls();
    let most = pulls.iter().map(|pull| pull.unwrap().law.q0).fold(0.0, f64::max);
    // 0.75 at 50 C: -0.12 %/K of the field over 30 K (makers' tables), and half a percent for the liquid.
    let cold = 0.75 / (1.0 - 0.0012 * 30.0_f64).powi(2);
    assert!((most / cold - 1.0).abs() < 0.01, "{most} for {cold}");
}
