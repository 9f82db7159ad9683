//! The program as a user runs it: files in, files out, sentences and exit codes.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

mod common;
#[path = "common/desk.rs"]
mod desk;

use std::path::Path;
use std::process::Command;

use desk::{Desk, Run};

/// A desk with a short song on it.
fn bench() -> Desk {
    let desk = Desk::new();
    let demo = desk.run(&["demo", "--out", "demo", "--quiet"]);
    assert_eq!(demo.code, Some(0), "{}", demo.errors);
    desk
}

fn render(bench: &Desk, more: &[&str]) -> Run {
    let args = ["render", "demo/demo-song.wav", "--preset", "mapping.toml"];
    let files = ["--display", "display.toml", "--out", "song.duty"];
    bench.run(&[&args[..], &files, more].concat())
}

fn lines(path: &Path) -> Vec<String> {
    std::fs::read_to_string(path).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn the_demo_leaves_everything_it_names() {
    let bench = bench();
    let said = bench.run(&["demo", "--out", "again"]);
    assert_eq!(said.code, Some(0), "{}", said.errors);
    for name in
        ["demo-song.wav", "demo.png", "demo.duty", "demo.csv", "demo.toml", "displays/ring24.toml"]
    {
        assert!(said.told.contains(name), "the demo does not name {name}");
        let made = bench.path("again").join(name);
        assert!(made.metadata().unwrap().len() > 0, "{name} is empty");
    }
    let same = |name: &str| {
        std::fs::read(bench.path("demo").join(name)).unwrap()
            == std::fs::read(bench.path("again").join(name)).unwrap()
    };
    assert!(same("demo-song.wav") && same("demo.duty"), "two demos differ");
}

#[test]
fn render_writes_file_table_and_report_that_agree() {
    let bench = bench();
    let run = render(&bench, &["--csv", "song.csv", "--report", "song.json"]);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    assert!(!bench.path("song.duty.part").exists(), "a whole file keeps no .part");
    let report: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(bench.path("song.json")).unwrap()).unwrap();
    let table = lines(&bench.path("song.csv"));
    assert_eq!(report["frames"].as_u64().unwrap(), table.len() as u64 - 1);
    assert_eq!(table[0].split(',').count(), 2 + 24);
    let cut = report["cut_heat_share"].as_f64().unwrap();
    let granted = report["granted_share"].as_f64().unwrap();
    let driver = report["cut_driver_share"].as_f64().unwrap();
    let rail = report["cut_rail_share"].as_f64().unwrap();
    assert!(cut > 0.05, "the hot ring was not hot: {cut}");
    assert!((granted + cut + driver + rail - 1.0).abs() < 1e-9, "what was asked is accounted for");
    let (peak, bound) =
        (report["peak_coil_c"].as_f64().unwrap(), report["peak_coil_bound_c"].as_f64().unwrap());
    assert!(peak <= bound + 1e-3, "{peak} passes {bound}");
    let picture = bench.run(&["picture", "song.duty"]);
    assert_eq!(picture.code, Some(0), "{}", picture.errors);
    assert!(bench.path("song.duty.png").exists());
}

#[test]
fn a_song_can_start_where_the_one_before_ended() {
    let bench = bench();
    assert!(render(&bench, &[]).code == Some(0));
    std::fs::rename(bench.path("song.duty"), bench.path("first.duty")).unwrap();
    let granted = |start: &str| {
        let run = render(&bench, &["--start", start, "--report", "r.json", "--quiet"]);
        assert!(run.code == Some(0), "{start}: {}", run.errors);
        let json = std::fs::read_to_string(bench.path("r.json")).unwrap();
        let report: serde_json::Value = serde_json::from_str(&json).unwrap();
        report["granted_share"].as_f64().unwrap()
    };
    let (cold, after, unknown) = (granted("cold"), granted("first.duty"), granted("unknown"));
    assert!(cold > after && after > unknown, "{cold} {after} {unknown}");
    let bad = render(&bench, &["--start", "tepid"]);
    assert_eq!(bad.code, Some(2));
    assert!(bad.errors.contains("cold, warm, unknown"), "{}", bad.errors);
}

#[test]
fn refusals_exit_2_and_say_where() {
    let bench = bench();
    bench.write("mapping.toml", &common::BUSY.replace("attack_ms = 2\n", "attack_s = 0.002\n"));
    let run = render(&bench, &[]);
    assert_eq!(run.code, Some(2), "{}", run.errors);
    let said = run.errors;
    assert!(said.contains("mapping.toml:14:1") && said.contains("attack_ms"), "{said}");
    assert!(!bench.path("song.duty.part").exists(), "nothing is written for a refused mapping");
    let unknown = bench.run(&["render", "--no-such-flag"]);
    assert_eq!(unknown.code, Some(2));
}

#[test]
fn failures_exit_1_and_name_the_file() {
    let bench = bench();
    let args = ["--preset", "mapping.toml", "--display", "display.toml"];
    let run = |song: &str, out: &str| {
        let mut all = vec!["render", song, "--out", out];
        all.extend(args);
        bench.run(&all)
    };
    for (song, out, named) in [
        ("no-such-song.wav", "a.duty", "no-such-song.wav"),
        ("mapping.toml", "a.duty", "mapping.toml"),
        ("demo/demo-song.wav", "no/such/folder/a.duty", "no/such/folder"),
    ] {
        let failed = run(song, out);
        let said = failed.errors;
        assert_eq!(failed.code, Some(1), "{said}");
        assert!(said.contains(named), "{said}");
    }
    let picture = bench.run(&["picture", "display.toml"]);
    assert_eq!(picture.code, Some(1), "{}", picture.errors);
}

#[test]
fn a_broken_song_renders_as_far_as_it_goes() {
    let bench = bench();
    let whole = std::fs::read(bench.path("demo/demo-song.wav")).unwrap();
    std::fs::write(bench.path("demo/demo-song.wav"), &whole[..whole.len() / 2]).unwrap();
    let run = render(&bench, &["--csv", "song.csv"]);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    assert!(run.errors.contains(" s"), "no remark: {}", run.errors);
    assert!(lines(&bench.path("song.csv")).len() > 1000);
}

#[test]
fn check_prints_and_draws_the_build_sheet_of_a_display_alone() {
    let bench = bench();
    let run = bench.run(&["check", "--display", "display.toml", "--sheet", "--picture", "a.png"]);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    let said = run.told;
    assert!(said.contains("build sheet") && said.contains("Switching on"), "{said}");
    let png = std::fs::read(bench.path("a.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG"));
    let run = bench.run(&["check", "--display", "display.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&run.told).unwrap();
    assert!(json["coils"][0]["full_a"].as_f64().unwrap() > 0.0, "{json}");
    assert_eq!(bench.run(&["check"]).code, Some(2));
}

#[test]
fn check_says_what_was_understood() {
    let bench = bench();
    let run = bench.run(&["check", "--preset", "mapping.toml", "--display", "display.toml"]);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    let said = run.told;
    for word in ["low", "voice", "spread", "24 coils", "delay ms"] {
        assert!(said.contains(word), "{word} is missing:\n{said}");
    }
}

#[test]
fn budget_prints_cautions_and_reads_as_json() {
    let bench = bench();
    let run = bench.run(&["budget", "--display", "display.toml"]);
    assert_eq!(run.code, Some(0), "{}", run.errors);
    let said = run.told.to_lowercase();
    for word in ["heat", "magnet", "mains", "liquid", "local"] {
        assert!(said.contains(word), "no caution about {word}:\n{said}");
    }
    let json = bench.run(&["budget", "--display", "display.toml", "--json"]);
    let report: serde_json::Value = serde_json::from_str(&json.told).unwrap();
    assert_eq!(report["coils"].as_array().unwrap().len(), 24);
}

#[test]
fn any_request_can_be_put_through_the_budget() {
    let bench = bench();
    let full = vec!["1"; 24].join(",");
    let off = vec!["0"; 24].join(",");
    let names: String = (1..=24).map(|coil| format!(",coil {coil}")).collect();
    bench.write("ask.csv", &format!("time_s{names}\n0,{full}\n20,{off}\n25,{off}\n"));
    let args = ["budget", "--display", "display.toml", "--try", "ask.csv", "--rate", "50"];
    let run = bench.run(&[&args[..], &["--out", "answer.csv"]].concat());
    assert_eq!(run.code, Some(0), "{}", run.errors);
    let rows = lines(&bench.path("answer.csv"));
    assert_eq!(rows.len(), 1 + 25 * 50 + 1);
    let duty = |row: usize| rows[row].split(',').nth(1).unwrap().parse::<f64>().unwrap();
    assert!(duty(1) > 0.5 && duty(999) < 0.5 * duty(1), "{} {}", duty(1), duty(999));
    assert!(duty(1001).abs() < 1e-9, "off means off");
    // All coils at once are more than the supply may give, so the first frame is cut already.
    assert!(run.errors.contains("first cut by heat or supply at 0.00 s"), "{}", run.errors);
    bench.write("ask.csv", &format!("0,{full}\n1,{full},1\n"));
    let bad = bench.run(&args);
    assert_eq!(bad.code, Some(2));
    assert!(bad.errors.contains("line 2"), "{}", bad.errors);
}

/// Ctrl-C in the middle: all-off is the last packet, and what was made is kept.
#[test]
fn ctrl_c_keeps_what_was_made() {
    let bench = bench();
    // A song long enough that the signal always comes in its middle: a pipe that never ends is
    // not a song, so take an hour of silence.
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(bench.path("long.wav"), spec).unwrap();
    let mut writer = wav.get_i16_writer(2 * 44_100 * 3600);
    for _ in 0..2 * 44_100 * 3600 {
        writer.write_sample(0_i16);
    }
    writer.flush().unwrap();
    wav.finalize().unwrap();
    let files = ["--preset", "mapping.toml", "--display", "display.toml", "--out", "long.duty"];
    let mut command = bench.command(&[&["render", "long.wav"][..], &files].concat());
    let mut child = command.stderr(std::process::Stdio::piped()).spawn().unwrap();
    let part = bench.path("long.duty.part");
    // Wait for frames, not for time.
    while part.metadata().map_or(0, |file| file.len()) < 100_000 {
        assert!(child.try_wait().unwrap().is_none(), "it ended before anything was written");
        std::thread::yield_now();
    }
    // The shell's own kill: the program of that name is not on every machine.
    let kill = format!("kill -INT {}", child.id());
    let interrupt = Command::new("sh").args(["-c", &kill]).status().unwrap();
    assert!(interrupt.success());
    let output = Run::of(child);
    assert_eq!(output.code, Some(130), "{}", output.errors);
    assert!(output.errors.contains("long.duty.part"), "{}", output.errors);
    assert!(!bench.path("long.duty").exists());
    let picture = bench.run(&["picture", "long.duty.part", "--out", "long.png"]);
    assert_eq!(picture.code, Some(0), "{}", picture.errors);
}

/// An output that is an input, or another output, would destroy what it is made from.
#[test]
fn outputs_never_overwrite_inputs() {
    let bench = bench();
    assert!(render(&bench, &[]).code == Some(0));
    let song = std::fs::read(bench.path("demo/demo-song.wav")).unwrap();
    let duty = std::fs::read(bench.path("song.duty")).unwrap();
    let files = ["--preset", "mapping.toml", "--display", "display.toml"];
    let render =
        |more: &[&str]| bench.run(&[&["render", "demo/demo-song.wav"][..], &files, more].concat());
    for run in [
        render(&["--out", "demo/../demo/demo-song.wav"]),
        render(&["--out", "display.toml"]),
        render(&["--out", "b.duty", "--csv", "b.duty"]),
        render(&["--out", "b.duty", "--report", "mapping.toml"]),
        bench.run(&["convert", "song.duty", "song.duty"]),
        bench.run(&["picture", "song.duty", "--out", "./song.duty"]),
        bench.run(&["budget", "--display", "display.toml", "--try", "a.csv", "--out", "a.csv"]),
    ] {
        assert_eq!(run.code, Some(2), "{}", run.errors);
    }
    assert!(std::fs::read(bench.path("demo/demo-song.wav")).unwrap() == song);
    assert!(std::fs::read(bench.path("song.duty")).unwrap() == duty);
    assert!(std::fs::read_to_string(bench.path("display.toml")).unwrap() == common::HOT_RING);
}

#[test]
fn heat_of_another_display_is_refused() {
    let bench = bench();
    assert!(render(&bench, &[]).code == Some(0));
    bench.write("display.toml", &common::HOT_RING.replace("13.4", "13.5"));
    let run = bench.run(&[
        "render",
        "demo/demo-song.wav",
        "--preset",
        "mapping.toml",
        "--display",
        "display.toml",
        "--out",
        "b.duty",
        "--start",
        "song.duty",
    ]);
    assert_eq!(run.code, Some(2), "{}", run.errors);
    assert!(run.errors.contains("another display"), "{}", run.errors);
}

#[test]
fn what_the_budget_refuses_is_refused_by_every_command() {
    let bench = bench();
    // A slipped unit: the winding would answer within a fraction of a millisecond.
    bench.write(
        "display.toml",
        &common::HOT_RING.replace("coil_j_per_k = 1.0", "coil_j_per_k = 0.001"),
    );
    bench.write("ask.csv", &format!("0,{}\n", vec!["1"; 24].join(",")));
    let budget = ["budget", "--display", "display.toml"];
    let asked = ["--try", "ask.csv", "--out", "answer.csv"];
    let check = ["check", "--preset", "mapping.toml", "--display", "display.toml"];
    for run in [
        render(&bench, &[]),
        bench.run(&budget),
        bench.run(&[&budget[..], &asked].concat()),
        bench.run(&check),
    ] {
        assert_eq!(run.code, Some(2), "{}", run.errors);
    }
    assert!(!bench.path("answer.csv").exists() && !bench.path("song.duty.part").exists());
}

#[test]
fn an_edited_demo_is_not_overwritten() {
    let bench = bench();
    bench.write("demo/demo.toml", "# mine\n");
    let run = bench.run(&["demo", "--out", "demo"]);
    assert_eq!(run.code, Some(2), "{}", run.errors);
    assert_eq!(std::fs::read_to_string(bench.path("demo/demo.toml")).unwrap(), "# mine\n");
}

/// A mapping that cannot move the coils of this display is refused in its own place, by all alike.
#[test]
fn a_motion_that_cannot_be_is_refused_where_it_is_written() {
    let bench = bench();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let (preset, display) = (root.join("spread.toml"), root.join("displays/one.toml"));
    let files = ["--preset", preset.to_str().unwrap(), "--display", display.to_str().unwrap()];
    let check = bench.run(&[&["check"][..], &files].concat());
    let render = ["render", "demo/demo-song.wav", "--out", "x.duty"];
    let render = bench.run(&[&render[..], &files].concat());
    for run in [check, render] {
        let said = run.errors;
        assert_eq!(run.code, Some(2), "{said}");
        assert!(said.contains("spread.toml:") && said.contains('^'), "{said}");
    }
}

#[test]
fn a_full_standard_error_is_no_reason_to_crash() {
    let bench = bench();
    let mut command = bench.command(&["check", "--preset", "nope.toml"]);
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    assert_eq!(Run::from(command.stderr(full).output().unwrap()).code, Some(2));
}
