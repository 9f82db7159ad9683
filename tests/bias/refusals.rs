//! Bad input, each with the sentence that a maker reads. `REGENERATE=1 cargo test --test bias` writes
//! the sentences anew; read them before keeping them.

use std::fmt::Write as _;
use std::fs;

use tempfile::TempDir;

use super::{DISPLAY, changed, run, text};

/// What is typed, and what is wrong in a display file.
fn table() -> String {
    let folder = TempDir::new().unwrap();
    let mut said = String::new();
    let spiral = ["coil", "spiral", "--trace-mm", "0.5", "--space-mm", "0.2"];
    let wound = ["coil", "wound", "--inner-mm", "8", "--outer-mm", "20", "--length-mm", "12"];
    for (base, more) in [
        (&spiral[..], &["--inner-mm=-5", "--outer-mm", "35"][..]),
        (&spiral, &["--inner-mm", "0", "--outer-mm", "35"]),
        (&spiral, &["--inner-mm", "nan", "--outer-mm", "35"]),
        (&spiral, &["--inner-mm", "inf", "--outer-mm", "35"]),
        (&spiral, &["--inner-mm", "35", "--outer-mm", "6"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "6.5"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--layers", "0"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--layers", "100000"]),
        (
            &spiral,
            &["--inner-mm", "6", "--outer-mm", "35", "--layers", "3", "--copper-um", "35,35"],
        ),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--copper-um", "-35"]),
        (
            &spiral,
            &["--inner-mm", "6", "--outer-mm", "35", "--layers", "4", "--layer-pitch-mm", "0.02"],
        ),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--volts", "0"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--iron-gap-mm", "-1"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--sweep", "layers=9..2"]),
        (&spiral, &["--inner-mm", "6", "--outer-mm", "35", "--sweep", "weight=1..2"]),
        (&wound, &["--wire-mm", "0"]),
        (&wound, &["--wire-mm", "7"]),
        (&wound, &["--awg", "99"]),
        (&wound, &["--awg", "28", "--wire-mm", "0.3"]),
        (&wound, &["--awg", "28", "--enamel-um", "-1"]),
        (&wound, &["--awg", "28", "--series", "0"]),
    ] {
        let args: Vec<&str> = base.iter().chain(more).copied().collect();
        told(&mut said, &folder, &args, &more.join(" "));
    }
    for (from, to) in [
        ("inner_mm = 6", "inner_mm = -6"),
        ("inner_mm = 6", "inner_mm = 36"),
        ("trace_mm = 0.55", "trace_mm = nan"),
        ("trace_mm = 0.55", "trace_mm = 40"),
        ("layers = 12", "layers = 900"),
        ("iron = { gap_mm = 0.25,", "iron = { gap_mm = -1,"),
        ("iron = { gap_mm = 0.25, thickness_mm = 5,", "iron = { thickness_mm = 5,"),
        ("grade = \"N42\"", "grade = \"N420\""),
        ("grade = \"N42\"", "remanence_t = 12"),
        ("thickness_mm = 5\n\n[fluid]", "thickness_mm = 5\nwidth_mm = 10\n\n[fluid]"),
        ("nacl_percent = 1.5", "nacl_percent = 40"),
        ("nacl_percent = 1.5", "salinity = 35"),
        ("liquid.salt_water = { nacl_percent = 1.5 }", "liquid.known = { kg_per_m3 = 1300 }"),
        ("liquid.salt_water = { nacl_percent = 1.5 }", ""),
        ("ahead_mm = 8", "ahead_mm = 0"),
        ("below_mm = 10", "below_mm = inf"),
    ] {
        fs::write(folder.path().join("d.toml"), changed(from, to)).unwrap();
        told(&mut said, &folder, &["bias", "--display", "d.toml"], &format!("{from} -> {to}"));
    }
    fs::write(folder.path().join("d.toml"), DISPLAY).unwrap();
    let bias = ["bias", "--display", "d.toml"];
    let stated = changed("grade = \"N42\"", "grade = \"N\"");
    fs::write(folder.path().join("n.toml"), stated).unwrap();
    let far = changed("ahead_mm = 8", "ahead_mm = 120");
    fs::write(folder.path().join("far.toml"), far).unwrap();
    for more in [
        &["--share", "1"][..],
        &["--share", "nan"],
        &["--magnet-c", "900"],
        &["--liquid-c", "-40"],
        &["--display", "n.toml"],
        &["--display", "far.toml"],
        &["--display", "none.toml"],
    ] {
        let own = more.first() == Some(&"--display");
        let args: Vec<&str> = bias[..if own { 1 } else { 3 }].iter().chain(more).copied().collect();
        told(&mut said, &folder, &args, &args.join(" "));
    }
    said
}

fn told(said: &mut String, folder: &TempDir, args: &[&str], what: &str) {
    let done = run(folder.path(), args);
    let code = done.status.code();
    assert!(matches!(code, Some(1 | 2)), "{args:?}: {code:?} {}", text(&done.stdout));
    assert!(done.stdout.is_empty(), "{args:?}");
    let words = text(&done.stderr);
    assert!(!words.contains("panicked"), "{args:?}: {words}");
    let _ = writeln!(said, "# {}\n{}", what.replace('\n', " "), words.trim_end());
}

#[test]
fn bad_input_is_told_what_is_wrong_with_it() {
    let said = table();
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bias/refusals.txt");
    if std::env::var_os("REGENERATE").is_some() {
        fs::write(path, &said).unwrap();
    }
    let kept = fs::read_to_string(path).unwrap_or_default();
    assert_eq!(said, kept, "run with REGENERATE=1 and read what is said");
}
