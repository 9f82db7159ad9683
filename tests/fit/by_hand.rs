//! Readings typed into a pipe, stopped, gone on with, fitted.

use std::io::Write;
use std::process::{Output, Stdio};

use super::bench::Bench;
use super::command::{DISPLAY, Desk};

/// Runs the command, types lines, and does something before the last of them.
fn typed(desk: &Desk, args: &str, lines: &[String], before_last: impl FnOnce()) -> Output {
    let mut child = desk
        .command(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let (last, first) = lines.split_last().unwrap();
    for line in first {
        writeln!(input, "{line}").unwrap();
    }
    // The last line read before was answered once the file holds it.
    if let Some(saved) = args.split("--save ").nth(1) {
        let path = desk.path(saved.split(' ').next().unwrap());
        while std::fs::read_to_string(&path).map_or(0, |text| text.lines().count()) < first.len() {
            std::thread::yield_now();
        }
    }
    before_last();
    writeln!(input, "{last}").unwrap();
    drop(input);
    child.wait_with_output().unwrap()
}

/// What someone could read off two meters: every 3 s at first, then every minute.
fn by_hand() -> Vec<String> {
    let bench = Bench { every_s: [3.0, 20.0], noise_k: 0.15, ..Bench::worked() };
    let rows = bench.readings(21);
    rows.iter()
        .map(|[time_s, volts, amps, _, _]| {
            format!("{}:{:06.3} {volts:.4} {amps:.7}", (time_s / 60.0).floor(), time_s % 60.0)
        })
        .collect()
}

#[test]
fn stopped_kept_gone_on_with_and_fitted() {
    let desk = Desk::new();
    let args =
        "fit --by-hand --display display.toml --coil-type spiral --cold-c 21.5 --save hand.csv";
    let all = by_hand();
    let (first, rest) = all.split_at(30);
    let mut lines = first.to_vec();
    lines.push("stop".into());
    let stopped = typed(&desk, args, &lines, || ());
    assert!(stopped.status.success() && stopped.stdout.is_empty(), "{stopped:?}");
    assert_eq!(desk.read("hand.csv").lines().count(), 31);
    let mut lines = rest.to_vec();
    lines.insert(3, "12 volts".into());
    lines.push("end".into());
    let done = typed(&desk, args, &lines, || ());
    let (told, asked) =
        (String::from_utf8(done.stdout).unwrap(), String::from_utf8(done.stderr).unwrap());
    assert!(done.status.success(), "{asked}");
    assert!(
        asked.contains("'12 volts' is no reading") && asked.contains("30 readings so far"),
        "{asked}"
    );
    assert!(asked.contains("stay beside it"), "{asked}");
    assert!(told.contains("\"spiral\" of two kinds, fitted to hand.csv"), "{told}");
    assert_eq!(desk.read("hand.csv").lines().count(), all.len() + 1);
}

#[test]
fn too_little_is_kept_and_refused() {
    let desk = Desk::new();
    let args =
        "fit --by-hand --display display.toml --coil-type spiral --cold-c 21.5 --save hand.csv";
    let mut lines = by_hand()[..10].to_vec();
    lines.push("end".into());
    let done = typed(&desk, args, &lines, || ());
    assert_eq!(done.status.code(), Some(2));
    assert!(String::from_utf8(done.stderr).unwrap().contains("10 readings are too few"));
    assert_eq!(desk.read("hand.csv").lines().count(), 11);
}

#[test]
fn a_display_that_changed_meanwhile_is_left_alone() {
    let desk = Desk::new();
    let args = "fit --by-hand --display display.toml --coil-type spiral --cold-c 21.5 --write --save hand.csv";
    let mut lines = by_hand();
    lines.push("end".into());
    let other = DISPLAY.replace("limit_a = 8", "limit_a = 6");
    let done = typed(&desk, args, &lines, || {
        std::fs::write(desk.path("display.toml"), &other).unwrap();
    });
    let asked = String::from_utf8(done.stderr).unwrap();
    assert_eq!(done.status.code(), Some(2), "{asked}");
    assert!(asked.contains("was changed since it was read"), "{asked}");
    assert_eq!(desk.read("display.toml"), other);
}
