//! The same song through general-purpose analysis libraries, where a Python has them.

use std::path::Path;
use std::process::Command;

use super::song::Row;

/// Prints what each method costs, and what finding all events here costs beside it.
pub(crate) fn print(song: &Path, minutes: f64, rows: &[Row]) {
    let Some(python) = std::env::var_os("COILSCORE_PYTHON") else {
        println!("other libraries: none, as COILSCORE_PYTHON names no Python that has them");
        return;
    };
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/cost/peers.py");
    let run = Command::new(python).arg(script).arg(song).output().expect("the Python starts");
    let said = String::from_utf8_lossy(&run.stdout);
    // As live beside what hears as it comes, the whole song beside what wants the whole song.
    let ours = |kind: &str| {
        let name = if kind == "causal" { "events as live" } else { "events of the whole song" };
        rows.iter().find(|row| row.name == name).expect("the row").cpu_s / minutes
    };
    println!(
        "libraries on the same song, one thread              CPU s a minute     events here over that"
    );
    for line in said.lines() {
        let words: Vec<&str> = line.split('\t').collect();
        let [library, version, finds, kind, cpu_s] = words[..] else { continue };
        let cpu_s: f64 = cpu_s.parse().expect("a number");
        let name = format!("{library} {version}, {finds}, {kind}");
        println!("  {name:<56} {cpu_s:>7.3} {:>25.2}", ours(kind) / cpu_s);
    }
    if !run.status.success() {
        println!("{}", String::from_utf8_lossy(&run.stderr));
    }
}
