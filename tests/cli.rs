//! The program as a user runs it: files in, files out, sentences and exit codes.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

mod common;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tempfile::TempDir;

/// A folder of its own with a short song, a mapping and a display in it.
struct Bench {
    dir: TempDir,
}

impl Bench {
    fn new() -> Self {
        let bench = Self { dir: TempDir::new().unwrap() };
        bench.write("display.toml", common::HOT_RING);
        bench.write("mapping.toml", common::BUSY);
        let demo = bench.run(&["demo", "--out", "demo", "--quiet"]);
        assert_eq!(demo.status.code(), Some(0), "{}", text(&demo.stderr));
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).unwrap();
    }

    fn run(&self, args: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
        command.args(args).current_dir(self.dir.path()).output().unwrap()
    }

    fn render(&self, more: &[&str]) -> Output {
        let mut args = vec!["render", "demo/demo-song.wav", "--preset", "mapping.toml"];
        args.extend(["--display", "display.toml", "--out", "song.duty"]);
        args.extend(more);
        self.run(&args)
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn lines(path: &Path) -> Vec<String> {
    std::fs::read_to_string(path).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn the_demo_leaves_everything_it_names() {
    let bench = Bench::new();
    let said = bench.run(&["demo", "--out", "again"]);
    assert_eq!(said.status.code(), Some(0), "{}", text(&said.stderr));
    for name in
        ["demo-song.wav", "demo.png", "demo.duty", "demo.csv", "demo.toml", "displays/ring24.toml"]
    {
        assert!(text(&said.stdout).contains(name), "the demo does not name {name}");
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
    let bench = Bench::new();
    let run = bench.render(&["--csv", "song.csv", "--report", "song.json"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
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
    assert_eq!(picture.status.code(), Some(0), "{}", text(&picture.stderr));
    assert!(bench.path("song.duty.png").exists());
}

#[test]
fn a_song_can_start_where_the_one_before_ended() {
    let bench = Bench::new();
    assert!(bench.render(&[]).status.success());
    std::fs::rename(bench.path("song.duty"), bench.path("first.duty")).unwrap();
    let granted = |start: &str| {
        let run = bench.render(&["--start", start, "--report", "r.json", "--quiet"]);
        assert!(run.status.success(), "{start}: {}", text(&run.stderr));
        let json = std::fs::read_to_string(bench.path("r.json")).unwrap();
        let report: serde_json::Value = serde_json::from_str(&json).unwrap();
        report["granted_share"].as_f64().unwrap()
    };
    let (cold, after, unknown) = (granted("cold"), granted("first.duty"), granted("unknown"));
    assert!(cold > after && after > unknown, "{cold} {after} {unknown}");
    let bad = bench.render(&["--start", "tepid"]);
    assert_eq!(bad.status.code(), Some(2));
    assert!(text(&bad.stderr).contains("cold, warm, unknown"), "{}", text(&bad.stderr));
}

#[test]
fn refusals_exit_2_and_say_where() {
    let bench = Bench::new();
    bench.write("mapping.toml", &common::BUSY.replace("attack_ms = 2\n", "attack_s = 0.002\n"));
    let run = bench.render(&[]);
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    let said = text(&run.stderr);
    assert!(said.contains("mapping.toml:14:1") && said.contains("attack_ms"), "{said}");
    assert!(!bench.path("song.duty.part").exists(), "nothing is written for a refused mapping");
    let unknown = bench.run(&["render", "--no-such-flag"]);
    assert_eq!(unknown.status.code(), Some(2));
}

#[test]
fn failures_exit_1_and_name_the_file() {
    let bench = Bench::new();
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
        let said = text(&failed.stderr);
        assert_eq!(failed.status.code(), Some(1), "{said}");
        assert!(said.contains(named), "{said}");
    }
    let picture = bench.run(&["picture", "display.toml"]);
    assert_eq!(picture.status.code(), Some(1), "{}", text(&picture.stderr));
}

#[test]
fn a_broken_song_renders_as_far_as_it_goes() {
    let bench = Bench::new();
    let whole = std::fs::read(bench.path("demo/demo-song.wav")).unwrap();
    std::fs::write(bench.path("demo/demo-song.wav"), &whole[..whole.len() / 2]).unwrap();
    let run = bench.render(&["--csv", "song.csv"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    assert!(text(&run.stderr).contains(" s"), "no remark: {}", text(&run.stderr));
    assert!(lines(&bench.path("song.csv")).len() > 1000);
}

#[test]
fn check_prints_and_draws_the_build_sheet_of_a_display_alone() {
    let bench = Bench::new();
    let run = bench.run(&["check", "--display", "display.toml", "--sheet", "--picture", "a.png"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = text(&run.stdout);
    assert!(said.contains("build sheet") && said.contains("Switching on"), "{said}");
    let png = std::fs::read(bench.path("a.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG"));
    let run = bench.run(&["check", "--display", "display.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&text(&run.stdout)).unwrap();
    assert!(json["coils"][0]["full_a"].as_f64().unwrap() > 0.0, "{json}");
    assert_eq!(bench.run(&["check"]).status.code(), Some(2));
}

#[test]
fn check_says_what_was_understood() {
    let bench = Bench::new();
    let run = bench.run(&["check", "--preset", "mapping.toml", "--display", "display.toml"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = text(&run.stdout);
    for word in ["low", "voice", "spread", "24 coils", "delay ms"] {
        assert!(said.contains(word), "{word} is missing:\n{said}");
    }
}

#[test]
fn budget_prints_cautions_and_reads_as_json() {
    let bench = Bench::new();
    let run = bench.run(&["budget", "--display", "display.toml"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let said = text(&run.stdout).to_lowercase();
    for word in ["heat", "magnet", "mains", "liquid", "local"] {
        assert!(said.contains(word), "no caution about {word}:\n{said}");
    }
    let json = bench.run(&["budget", "--display", "display.toml", "--json"]);
    let report: serde_json::Value = serde_json::from_str(&text(&json.stdout)).unwrap();
    assert_eq!(report["coils"].as_array().unwrap().len(), 24);
}

#[test]
fn any_request_can_be_put_through_the_budget() {
    let bench = Bench::new();
    let full = vec!["1"; 24].join(",");
    let off = vec!["0"; 24].join(",");
    let names: String = (1..=24).map(|coil| format!(",coil {coil}")).collect();
    bench.write("ask.csv", &format!("time_s{names}\n0,{full}\n20,{off}\n25,{off}\n"));
    let args = ["budget", "--display", "display.toml", "--try", "ask.csv", "--rate", "50"];
    let run = bench.run(&[&args[..], &["--out", "answer.csv"]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let rows = lines(&bench.path("answer.csv"));
    assert_eq!(rows.len(), 1 + 25 * 50 + 1);
    let duty = |row: usize| rows[row].split(',').nth(1).unwrap().parse::<f64>().unwrap();
    assert!(duty(1) > 0.5 && duty(999) < 0.5 * duty(1), "{} {}", duty(1), duty(999));
    assert!(duty(1001).abs() < 1e-9, "off means off");
    // All coils at once are more than the supply may give, so the first frame is cut already.
    assert!(
        text(&run.stderr).contains("first cut by heat or supply at 0.00 s"),
        "{}",
        text(&run.stderr)
    );
    bench.write("ask.csv", &format!("0,{full}\n1,{full},1\n"));
    let bad = bench.run(&args);
    assert_eq!(bad.status.code(), Some(2));
    assert!(text(&bad.stderr).contains("line 2"), "{}", text(&bad.stderr));
}

/// Ctrl-C in the middle: all-off is the last packet, and what was made is kept.
#[test]
fn ctrl_c_keeps_what_was_made() {
    let bench = Bench::new();
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
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.args(["render", "long.wav", "--preset", "mapping.toml", "--display", "display.toml"]);
    command.args(["--out", "long.duty"]).current_dir(bench.dir.path());
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
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(130), "{}", text(&output.stderr));
    assert!(text(&output.stderr).contains("long.duty.part"), "{}", text(&output.stderr));
    assert!(!bench.path("long.duty").exists());
    let picture = bench.run(&["picture", "long.duty.part", "--out", "long.png"]);
    assert_eq!(picture.status.code(), Some(0), "{}", text(&picture.stderr));
}

/// An output that is an input, or another output, would destroy what it is made from.
#[test]
fn outputs_never_overwrite_inputs() {
    let bench = Bench::new();
    assert!(bench.render(&[]).status.success());
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
        assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    }
    assert!(std::fs::read(bench.path("demo/demo-song.wav")).unwrap() == song);
    assert!(std::fs::read(bench.path("song.duty")).unwrap() == duty);
    assert!(std::fs::read_to_string(bench.path("display.toml")).unwrap() == common::HOT_RING);
}

#[test]
fn heat_of_another_display_is_refused() {
    let bench = Bench::new();
    assert!(bench.render(&[]).status.success());
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
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    assert!(text(&run.stderr).contains("another display"), "{}", text(&run.stderr));
}

#[test]
fn what_the_budget_refuses_is_refused_by_every_command() {
    let bench = Bench::new();
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
        bench.render(&[]),
        bench.run(&budget),
        bench.run(&[&budget[..], &asked].concat()),
        bench.run(&check),
    ] {
        assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    }
    assert!(!bench.path("answer.csv").exists() && !bench.path("song.duty.part").exists());
}

#[test]
fn an_edited_demo_is_not_overwritten() {
    let bench = Bench::new();
    bench.write("demo/demo.toml", "# mine\n");
    let run = bench.run(&["demo", "--out", "demo"]);
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    assert_eq!(std::fs::read_to_string(bench.path("demo/demo.toml")).unwrap(), "# mine\n");
}

/// A mapping that cannot move the coils of this display is refused in its own place, by all alike.
#[test]
fn a_motion_that_cannot_be_is_refused_where_it_is_written() {
    let bench = Bench::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let (preset, display) = (root.join("spread.toml"), root.join("displays/one.toml"));
    let files = ["--preset", preset.to_str().unwrap(), "--display", display.to_str().unwrap()];
    let check = bench.run(&[&["check"][..], &files].concat());
    let render = ["render", "demo/demo-song.wav", "--out", "x.duty"];
    let render = bench.run(&[&render[..], &files].concat());
    for run in [check, render] {
        let said = text(&run.stderr);
        assert_eq!(run.status.code(), Some(2), "{said}");
        assert!(said.contains("spread.toml:") && said.contains('^'), "{said}");
    }
}

#[test]
fn a_full_standard_error_is_no_reason_to_crash() {
    let bench = Bench::new();
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.args(["check", "--preset", "nope.toml"]).current_dir(bench.dir.path());
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    assert_eq!(command.stderr(full).status().unwrap().code(), Some(2));
}
