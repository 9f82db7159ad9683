//! The same log fitted by `scipy.optimize.least_squares`, with a model written anew in Python.

use std::process::Command;

use super::bench::{Bench, figures};

/// The first interpreter that has `SciPy`: the one the test script found, the system's, the path's.
fn interpreter() -> String {
    let named = std::env::var("COILSCORE_PYTHON").ok();
    let known = ["/usr/bin/python3", "python3"].map(str::to_owned);
    let has_scipy = |python: &String| {
        let output = Command::new(python).args(["-c", "import numpy, scipy"]).output();
        output.is_ok_and(|output| output.status.success())
    };
    let found = named.into_iter().chain(known).find(has_scipy);
    found.expect("a python3 with SciPy; install the package python3-scipy")
}

#[test]
fn figures_and_errors_agree_with_a_general_library() {
    let dir = tempfile::tempdir().unwrap();
    let bench = Bench { every_s: [0.5, 4.0], ..Bench::worked() };
    for seed in [3, 4] {
        let text = bench.csv(seed);
        let path = dir.path().join("log.csv");
        std::fs::write(&path, &text).unwrap();
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/fit/reference.py");
        let output = Command::new(interpreter())
            .arg(script)
            .arg(&path)
            .arg(bench.room_c.to_string())
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let printed = String::from_utf8(output.stdout).unwrap();
        let theirs: Vec<(f64, f64)> = printed
            .lines()
            .map(|line| {
                let (value, error) = line.split_once(' ').unwrap();
                (value.parse().unwrap(), error.parse().unwrap())
            })
            .collect();
        let fitted = bench.fit_text(&text).unwrap();
        assert_eq!(fitted.set_aside, 0, "the library sets nothing aside");
        let mut ours = figures(&fitted).to_vec();
        ours.push((fitted.cold_ohm.value, fitted.cold_ohm.error / fitted.cold_ohm.value));
        assert_eq!(theirs.len(), ours.len());
        for (figure, ((value, error), (their_value, their_error))) in
            ours.into_iter().zip(theirs).enumerate()
        {
            // The library knows nothing of likeness between neighbours.
            let error = error / fitted.widened;
            println!("{figure}: {value} {their_value}, {error} {their_error}");
            assert!((value / their_value - 1.0).abs() < 2e-3, "{figure}: {value} {their_value}");
            assert!((error / their_error - 1.0).abs() < 0.01, "{figure}: {error} {their_error}");
        }
    }
}
