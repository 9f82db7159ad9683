//! What `convert` writes, read by `NumPy` and `SciPy` through `tests/read_table.py`: every value of
//! every packing, files with pieces missing, and what is refused.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use coilscore::frame::record::FORMAT;
use coilscore::frame::{
    BandHead, CoilRun, Head, Meter, NodeMeter, Packing, RailHead, RecordedCode, Tail,
};
use coilscore::sink::Sink;
use coilscore::sink::file::DutyFile;

fn run_of(count: u32, steps: u16, two_way: bool) -> CoilRun {
    CoilRun { count, steps, two_way }
}

fn head(coils: &[CoilRun], rate: [u32; 2]) -> Head {
    Head {
        version: FORMAT,
        rate,
        lead_us: 0,
        lag: None,
        arith: "native".into(),
        coils: coils.to_vec(),
        packing: Packing::narrowest(coils).unwrap(),
        display: "invented wall".into(),
        mapping: "invented tides".into(),
        display_digest: "00".into(),
        mapping_digest: "00".into(),
        sound_rate_hz: 48_000,
        sound_channels: 2,
        room_c: 35.0,
        start: "cold".into(),
        gains: Vec::new(),
        bands: vec![BandHead {
            low_hz: 40.0,
            high_hz: 120.0,
            channel: "all".into(),
            weighting: "none".into(),
            delay_s: 0.02,
        }],
        rails: vec![RailHead { name: "main".into(), volts: 12.0, limit_a: 8.0 }],
    }
}

/// Codes that reach both ends of every coil's range.
fn codes(coils: &[CoilRun], frame: u32) -> Vec<RecordedCode> {
    let each = coils.iter().flat_map(|run| std::iter::repeat_n(run, run.count as usize));
    let one = |(coil, run): (usize, &CoilRun)| {
        let (low, high) = run.codes().into_inner();
        let mixed = (i64::from(frame) * 7919 + coil as i64 * 104_729).rem_euclid(3001);
        RecordedCode(match (frame as usize + coil) % 5 {
            0 => low,
            1 => high,
            _ => low + i32::try_from(mixed).unwrap() % (high - low + 1),
        })
    };
    each.enumerate().map(one).collect()
}

fn meter(frame: u32, coils: usize) -> Meter {
    let last = u32::try_from(coils).unwrap() - 1;
    let node = |coil, now_c| NodeMeter { coil, now_c, bound_c: 50.1, limit_c: 60.0 };
    Meter {
        frame,
        quiet: frame == 9,
        band_dbfs: vec![-12.3],
        coil: node(0, 41.7),
        backing: node(last, 33.3),
        enclosure_c: 35.0,
        rail_mean_a: vec![1.7],
        rail_peak_a: vec![2.9],
        granted: 0.1,
        ..Meter::default()
    }
}

/// A whole file without the frames that `keep` does not want.
fn write(path: &Path, head: &Head, frames: u32, keep: impl Fn(u32) -> bool) {
    let mut file = DutyFile::create(path, head).unwrap();
    for frame in (0..frames).filter(|&frame| keep(frame)) {
        file.recorded(frame, &codes(&head.coils, frame)).unwrap();
        if frame % 10 == 9 {
            file.meter(&meter(frame, head.coil_count())).unwrap();
        }
    }
    file.off(frames).unwrap();
    let sums = || vec![0.0; head.coil_count()];
    let tail = Tail {
        frames: (0..frames).filter(|&frame| keep(frame)).count().try_into().unwrap(),
        sound_instants: 0,
        sound_digest: "00".into(),
        wished: sums(),
        granted: sums(),
        cut_heat: sums(),
        cut_rail: sums(),
        cut_driver: sums(),
        node_c: vec![],
        gained: None,
        held_back: None,
    };
    file.finish(&tail).unwrap();
}

/// One display for each packing, with odd and even numbers of coils, one to 256.
fn displays() -> Vec<Vec<CoilRun>> {
    vec![
        vec![run_of(1, 255, false)],
        vec![run_of(5, 255, false), run_of(1, 100, false)],
        vec![run_of(24, 4095, false)],
        vec![run_of(6, 4095, false), run_of(1, 1000, false)],
        vec![run_of(3, 65_535, false)],
        vec![run_of(2, 32_767, true), run_of(1, 4095, false)],
        vec![run_of(256, 4095, true)],
    ]
}

fn convert(directory: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    command.arg("convert").args(arguments).current_dir(directory).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The first interpreter that has both: the one the test script found, the system's, the path's.
fn interpreter() -> &'static str {
    static FOUND: OnceLock<String> = OnceLock::new();
    FOUND.get_or_init(find_interpreter)
}

fn find_interpreter() -> String {
    let named = std::env::var("COILSCORE_PYTHON").ok();
    let known = ["/usr/bin/python3", "python3"].map(str::to_owned);
    let has_both = |python: &String| {
        let asked = Command::new(python).args(["-c", "import numpy, scipy"]).output();
        asked.is_ok_and(|output| output.status.success())
    };
    let found = named.into_iter().chain(known).find(has_both);
    found.expect("a python3 with NumPy and SciPy; install python3-numpy and python3-scipy")
}

/// What the outside reader says: its first line, and the rows.
fn read(path: &PathBuf) -> (String, Vec<Vec<f64>>) {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/read_table.py");
    let output = Command::new(interpreter()).arg(script).arg(path).output().unwrap();
    assert!(output.status.success(), "{}: {}", path.display(), text(&output.stderr));
    let said = text(&output.stdout);
    let mut lines = said.lines().map(str::to_owned);
    let first = lines.next().unwrap();
    let row = |line: String| line.split(' ').map(|cell| cell.parse().unwrap()).collect();
    (first, lines.map(row).collect())
}

/// Duties to the last bit of single precision. The quotient is formed in double precision and
/// rounded again, so it shares nothing with the program's own.
fn duties(coils: &[CoilRun], frame: u32) -> Vec<f64> {
    let steps = coils.iter().flat_map(|run| std::iter::repeat_n(run.steps, run.count as usize));
    let single = |(code, steps): (RecordedCode, u16)| {
        let duty = format!("{:.17}", f64::from(code.0) / f64::from(steps));
        f64::from(duty.parse::<f32>().unwrap())
    };
    codes(coils, frame).into_iter().zip(steps).map(single).collect()
}

#[test]
fn numpy_and_scipy_read_every_value_of_every_packing() {
    for coils in displays() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path();
        write(&dir.join("song.duty"), &head(&coils, [200, 1]), 23, |_| true);
        let wide: u32 = coils.iter().map(|run| run.count).sum();
        for (out, flag) in [
            ("a.npy", None),
            ("b.NPY", Some("--codes")),
            ("c.wav", None),
            ("d.csv", None),
            ("e.csv", Some("--codes")),
        ] {
            let run = convert(dir, &[&["song.duty", out], flag.as_slice()].concat());
            let told = text(&run.stderr);
            assert!(run.status.success() && told.is_empty(), "{coils:?} {out}: {told}");
        }
        fs::rename(dir.join("b.NPY"), dir.join("b.npy")).unwrap();
        let rows = |name: &str| read(&dir.join(name));
        let expected: Vec<_> = (0..23).map(|frame| duties(&coils, frame)).collect();
        let whole = |frame| codes(&coils, frame).iter().map(|code| f64::from(code.0)).collect();
        let expected_codes: Vec<Vec<f64>> = (0..23).map(whole).collect();
        assert_eq!(rows("a.npy"), (format!("npy <f4 C aligned 23 {wide}"), expected.clone()));
        assert_eq!(rows("b.npy"), (format!("npy <i4 C aligned 23 {wide}"), expected_codes.clone()));
        assert_eq!(rows("c.wav"), (format!("wav <f4 200 23 {wide}"), expected.clone()));
        for (name, expected, near) in
            [("d.csv", expected, 0.500_01e-4), ("e.csv", expected_codes, 0.0)]
        {
            let (columns, rows) = rows(name);
            assert!(columns.starts_with("csv frame time_s coil_0"), "{columns}");
            assert_eq!(rows.len(), 23);
            for (k, (row, duty)) in rows.iter().zip(&expected).enumerate() {
                assert_eq!(row[..2], [k as f64, k as f64 / 200.0]);
                assert_eq!(row.len(), 2 + duty.len());
                assert!(row[2..].iter().zip(duty).all(|(a, b)| (a - b).abs() <= near), "{row:?}");
            }
        }
        let left = fs::read_dir(dir).unwrap().count();
        assert_eq!(left, 6, "the duty file, five tables and no .part");
    }
}

#[test]
fn row_k_is_frame_k_whatever_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let coils = [run_of(4, 4095, true)];
    // Lost: the first two, some in the middle, the last one.
    let kept = |frame: u32| ![0, 1, 7, 8, 9, 19].contains(&frame);
    write(&dir.join("song.duty"), &head(&coils, [50, 1]), 20, kept);
    for out in ["a.npy", "b.wav", "c.csv"] {
        let run = convert(dir, &["song.duty", out]);
        let told = text(&run.stderr);
        assert_eq!(run.status.code(), Some(0), "{told}");
        assert!(told.contains("frames 7 to 9 are missing"), "{told}");
        assert!(told.contains(&format!("{out}: 6 frames are missing")), "{told}");
    }
    let row = |frame| if kept(frame) { duties(&coils, frame) } else { vec![0.0; 4] };
    let expected: Vec<_> = (0..20).map(row).collect();
    assert_eq!(read(&dir.join("a.npy")).1, expected);
    assert_eq!(read(&dir.join("b.wav")), ("wav <f4 50 20 4".into(), expected));
    let frames: Vec<f64> = read(&dir.join("c.csv")).1.iter().map(|row| row[0]).collect();
    let there: Vec<f64> = (0..20).filter(|&frame| kept(frame)).map(f64::from).collect();
    assert_eq!(frames, there, "CSV leaves gaps out");
}

#[test]
fn a_cut_file_gives_what_is_there_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let coils = [run_of(24, 4095, false)];
    write(&dir.join("song.duty"), &head(&coils, [200, 1]), 40, |_| true);
    let whole = fs::read(dir.join("song.duty")).unwrap();
    let ends: Vec<_> = (0..whole.len()).filter(|&at| whole[at] == 0).collect();
    // HEAD, ten frames, a METER, four frames, and half of the next.
    let cut = ends[15] + 20;
    fs::write(dir.join("song.duty.part"), &whole[..cut]).unwrap();
    for out in ["a.npy", "b.wav", "c.csv"] {
        let run = convert(dir, &["song.duty.part", out]);
        let told = text(&run.stderr);
        assert_eq!(run.status.code(), Some(0), "{told}");
        assert!(told.contains("song.duty.part: byte") && told.contains("cut short"), "{told}");
        let (_, rows) = read(&dir.join(out));
        assert_eq!(rows.len(), 14, "{out}");
        let last = &rows[13][rows[13].len() - 24..];
        let near = |(a, b): (&f64, f64)| (a - b).abs() < 1e-4;
        assert!(last.iter().zip(duties(&coils, 13)).all(near), "{out}: {last:?}");
    }
}

#[test]
fn meters_are_a_table_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    write(&dir.join("song.duty"), &head(&[run_of(3, 255, false)], [60_000, 1001]), 30, |_| true);
    let run = convert(dir, &["song.duty", "heat.csv", "--meters"]);
    assert_eq!(run.status.code(), Some(0), "{}", text(&run.stderr));
    let (columns, rows) = read(&dir.join("heat.csv"));
    let columns: Vec<_> = columns.split(' ').skip(1).collect();
    let column = |name: &str| {
        let at = columns.iter().position(|column| *column == name).expect(name);
        rows.iter().map(|row| row[at]).collect::<Vec<_>>()
    };
    assert_eq!(column("frame"), [9.0, 19.0, 29.0]);
    // By hand: 9 * 1001 / 60000 and so on, to the microsecond.
    assert_eq!(column("time_s"), [0.150_150, 0.316_983, 0.483_817]);
    assert_eq!(column("quiet"), [1.0, 0.0, 0.0]);
    assert_eq!(column("winding_c"), [41.7; 3]);
    assert_eq!(column("backing"), [2.0; 3]);
    assert_eq!(column("backing_bound_c"), [50.1; 3]);
    assert_eq!(column("rail_0_main_mean_a"), [1.7; 3]);
    assert_eq!(column("rail_0_main_peak_a"), [2.9; 3]);
    assert_eq!(column("band_0_all_40_120_hz_dbfs"), [-12.3; 3]);
}

#[test]
fn refusals_exit_2_and_write_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    let coils = [run_of(3, 255, false)];
    write(&dir.join("song.duty"), &head(&coils, [2997, 50]), 30, |_| true);
    fs::copy(dir.join("song.duty"), dir.join("same.csv")).unwrap();
    fs::copy(dir.join("song.duty"), dir.join("next.csv.part")).unwrap();
    let many = [run_of(16_384, 1, false)];
    write(&dir.join("many.duty"), &head(&many, [200, 1]), 1, |_| true);
    let before = fs::read_dir(dir).unwrap().count();
    for (arguments, words) in [
        (&["song.duty", "a.txt"][..], &["a.txt", ".csv, .npy or .wav"][..]),
        (&["song.duty", "table"], &["table", ".csv, .npy or .wav"]),
        (&["song.duty", "a.wav", "--codes"], &["codes", ".csv or .npy"]),
        (&["song.duty", "a.npy", "--meters"], &["meters", ".csv"]),
        (&["song.duty", "a.csv", "--meters", "--codes"], &["--meters", "--codes"]),
        (&["song.duty", "a.wav"], &["a.wav", "2997/50", ".npy"]),
        (&["many.duty", "a.wav"], &["16383", "16384", ".npy"]),
        (&["same.csv", "same.csv"], &["same.csv", "over the duty file"]),
        (&["same.csv", "./same.csv"], &["over the duty file"]),
        (&["next.csv.part", "next.csv"], &["over the duty file"]),
    ] {
        let run = convert(dir, arguments);
        let told = text(&run.stderr);
        assert_eq!(run.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(words.iter().all(|word| told.contains(word)), "{arguments:?}: {told}");
        assert_eq!(fs::read_dir(dir).unwrap().count(), before, "{arguments:?} wrote something");
    }
    let song = fs::read(dir.join("song.duty")).unwrap();
    assert!(fs::read(dir.join("same.csv")).unwrap() == song, "a duty file was harmed");
    assert!(fs::read(dir.join("next.csv.part")).unwrap() == song, "a duty file was harmed");
}

#[test]
fn failures_exit_1_name_the_file_and_leave_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path();
    write(&dir.join("song.duty"), &head(&[run_of(3, 255, false)], [200, 1]), 30, |_| true);
    // An hour and a frame missing.
    let gap = |frame: u32| frame == 0 || frame > 720_001;
    write(&dir.join("gap.duty"), &head(&[run_of(1, 1, false)], [200, 1]), 720_003, gap);
    fs::write(dir.join("old.npy"), "what was there before").unwrap();
    let before = fs::read_dir(dir).unwrap().count();
    for (arguments, words) in [
        (["none.duty", "a.npy"], &["none.duty"][..]),
        (["song.duty", "no/such/a.npy"], &["no/such", "create it first"]),
        (["gap.duty", "old.npy"], &["gap.duty", "frames 1 to 720001", ".csv"]),
    ] {
        let run = convert(dir, &arguments);
        let told = text(&run.stderr);
        assert_eq!(run.status.code(), Some(1), "{arguments:?}: {told}");
        assert!(words.iter().all(|word| told.contains(word)), "{arguments:?}: {told}");
        assert_eq!(fs::read_dir(dir).unwrap().count(), before, "{arguments:?} left something");
    }
    assert_eq!(fs::read(dir.join("old.npy")).unwrap(), b"what was there before");
    assert!(convert(dir, &["gap.duty", "gap.csv"]).status.success());
    assert_eq!(read(&dir.join("gap.csv")).1.len(), 2);
}
