//! Duty files on disk: their life from `.part` to name, and a reader in another language.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::panic,
    reason = "tests stop at the first surprise"
)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use coilscore::frame::record::{Entry, FORMAT, Reader, SUFFIX, WriteError, Writer};
use coilscore::frame::{CoilRun, Head, Meter, Packing, RecordedCode, Tail};
use coilscore::sink::file::{DutyFile, open};
use coilscore::sink::{Sink, SinkError};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/read_duty_file.py");

fn head(coils: &[CoilRun]) -> Head {
    Head {
        version: FORMAT,
        rate: [200, 1],
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
        bands: vec![],
        rails: vec![],
    }
}

fn tail(frames: u32, coils: usize) -> Tail {
    let zeros = || vec![0.0; coils];
    Tail {
        frames,
        sound_instants: 0,
        sound_digest: "00".into(),
        wished: zeros(),
        granted: zeros(),
        cut_heat: zeros(),
        cut_rail: zeros(),
        cut_driver: zeros(),
        node_c: vec![],
        gained: None,
        held_back: None,
    }
}

/// Codes that reach both ends of every coil's range.
fn codes(coils: &[CoilRun], frame: u32) -> Vec<RecordedCode> {
    let one = |(coil, run): (usize, &CoilRun)| {
        let (low, high) = run.codes().into_inner();
        let mixed = (i64::from(frame) * 7919 + coil as i64 * 104_729).rem_euclid(3001);
        RecordedCode(match (frame as usize + coil) % 5 {
            0 => low,
            1 => high,
            _ => low + i32::try_from(mixed).unwrap() % (high - low + 1),
        })
    };
    let each = coils.iter().flat_map(|run| std::iter::repeat_n(run, run.count as usize));
    each.enumerate().map(one).collect()
}

fn run_of(count: u32, steps: u16, two_way: bool) -> CoilRun {
    CoilRun { count, steps, two_way }
}

/// One display for each packing, with odd and even numbers of coils.
fn displays() -> Vec<(Packing, Vec<CoilRun>)> {
    vec![
        (Packing::Byte, vec![run_of(5, 255, false), run_of(1, 100, false)]),
        (Packing::Twelve, vec![run_of(24, 4095, false)]),
        (Packing::Twelve, vec![run_of(6, 4095, false), run_of(1, 1000, false)]),
        (Packing::Word, vec![run_of(3, 65_535, false)]),
        (Packing::SignedWord, vec![run_of(2, 32_767, true), run_of(1, 4095, false)]),
    ]
}

fn write(path: &Path, coils: &[CoilRun], frames: u32) {
    let mut file = DutyFile::create(path, &head(coils)).unwrap();
    for frame in 0..frames {
        file.recorded(frame, &codes(coils, frame)).unwrap();
    }
    file.off(frames).unwrap();
    let count = coils.iter().map(|run| run.count as usize).sum();
    assert_eq!(file.finish(&tail(frames, count)).unwrap(), path);
}

fn python(arguments: &[&str]) -> Output {
    Command::new("python3").arg(SCRIPT).args(arguments).output().expect("python3 is needed here")
}

#[test]
fn the_python_reader_sees_the_same_duties_for_every_packing() {
    let lines = fs::read_to_string(SCRIPT).unwrap().lines().count();
    assert!(lines < 40, "the reader has grown to {lines} lines");
    let directory = tempfile::tempdir().unwrap();
    for (number, (packing, coils)) in displays().into_iter().enumerate() {
        let path = directory.path().join(format!("{number}.{SUFFIX}"));
        write(&path, &coils, 50);
        let output = python(&[path.to_str().unwrap(), "--csv"]);
        let (table, told) = (text(&output.stdout), text(&output.stderr));
        assert!(output.status.success(), "{packing:?}: {told}");
        assert!(told.contains("50 frames at 200 Hz, 0.250 s"), "{told}");
        assert!(told.contains("whole: True"), "{told}");

        let mut reader = open(&path).unwrap();
        assert_eq!(reader.head().packing, packing);
        let steps: Vec<f64> = reader.head().steps().map(f64::from).collect();
        for (frame, line) in (0..).zip(table.lines()) {
            let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
            let expected = codes(&coils, frame);
            let entry = reader.next_entry().unwrap();
            assert_eq!(entry, Some(Entry::Duty { frame, codes: &expected }));
            let duties: Vec<f64> = expected
                .iter()
                .zip(&steps)
                .map(|(code, steps)| f64::from(code.0) / steps)
                .collect();
            assert_eq!((row[0], row[1]), (f64::from(frame), f64::from(frame) / 200.0));
            assert_eq!(row[2..], duties, "{packing:?} frame {frame}");
        }
        assert_eq!(table.lines().count(), 50);
    }
}

#[test]
fn the_python_reader_leaves_damage_out_and_refuses_other_files() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("song.duty");
    write(&path, &[run_of(24, 4095, false)], 10);
    let mut bytes = fs::read(&path).unwrap();
    // The kind of the first frame, DUTY, becomes OFF: only the check can tell.
    let kind = bytes.iter().position(|&byte| byte == 0).unwrap() + 2;
    assert_eq!(bytes[kind], 0x02);
    bytes[kind] = 0x03;
    // A piece that unstuffs to nothing, and a cut one, must not stop it either.
    bytes.splice(0..0, [0, 0]);
    bytes.extend([1, 0, 9, 9]);
    fs::write(&path, &bytes).unwrap();
    let output = python(&[path.to_str().unwrap()]);
    assert!(text(&output.stdout).contains("9 frames"), "{output:?}");
    assert_eq!(text(&output.stderr).matches("damaged").count(), 2, "{output:?}");
    fs::write(&path, b"something else\0").unwrap();
    let output = python(&[path.to_str().unwrap()]);
    assert!(!output.status.success());
    assert!(text(&output.stderr).contains("not a duty file"), "{output:?}");
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn a_file_gets_its_name_when_it_is_whole() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("song.duty");
    let coils = [run_of(3, 255, false)];
    fs::write(&path, "what was there before").unwrap();
    let mut file = DutyFile::create(&path, &head(&coils)).unwrap();
    let part = file.part().to_path_buf();
    assert_eq!(part, directory.path().join("song.duty.part"));
    file.recorded(0, &codes(&coils, 0)).unwrap();
    file.off(1).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"what was there before");
    // A tail that does not fit leaves the part where it is.
    assert!(file.finish(&tail(2, 3)).is_err());
    assert!(part.is_file() && fs::read(&path).unwrap() == b"what was there before");

    write(&path, &coils, 4);
    assert!(!part.exists(), "the part is still there");
    let mut reader = open(&path).unwrap();
    while reader.next_entry().unwrap().is_some() {}
    assert!(reader.is_whole());
    assert_eq!(fs::read(&path).unwrap(), in_memory(&coils, 4), "disk and memory differ");
}

fn in_memory(coils: &[CoilRun], frames: u32) -> Vec<u8> {
    let mut writer = Writer::new(Vec::new(), &head(coils)).unwrap();
    for frame in 0..frames {
        writer.recorded(frame, &codes(coils, frame)).unwrap();
    }
    Sink::off(&mut writer, frames).unwrap();
    writer.tail(&tail(frames, coils.iter().map(|run| run.count as usize).sum())).unwrap();
    writer.into_inner()
}

#[test]
fn a_run_that_is_cut_short_leaves_a_part_that_plays() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("song.duty");
    let coils = [run_of(24, 4095, false)];
    let mut file = DutyFile::create(&path, &head(&coils)).unwrap();
    for frame in 0..1000 {
        file.recorded(frame, &codes(&coils, frame)).unwrap();
    }
    drop(file);
    let error = open(&path).unwrap_err().to_string();
    assert!(error.contains("song.duty.part is there"), "{error}");
    let mut reader = open(directory.path().join("song.duty.part")).unwrap();
    while reader.next_entry().unwrap().is_some() {}
    assert_eq!((reader.frames(), reader.is_whole(), reader.damage_count()), (1000, false, 1));
}

/// Several songs wait closed for one plan; another run of the same songs leaves as many bytes.
#[test]
fn a_closed_part_that_another_run_wrote_gets_no_name() {
    let dir = tempfile::tempdir().unwrap();
    let place = dir.path().join("song.duty");
    let coils = [run_of(3, 255, false)];
    let begun = |frame: u32| {
        let mut file = DutyFile::create(&place, &head(&coils)).unwrap();
        file.recorded(0, &codes(&coils, frame)).unwrap();
        file.off(1).unwrap();
        file.close().unwrap()
    };
    let first = begun(1);
    let second = begun(2);
    let part = fs::File::options().write(true).open(dir.path().join("song.duty.part")).unwrap();
    let later = part.metadata().unwrap().modified().unwrap() + std::time::Duration::from_secs(60);
    part.set_modified(later).unwrap();
    let error = first.finish(&tail(1, 3)).unwrap_err();
    assert!(matches!(error, SinkError::Place { .. }), "{error}");
    for word in ["song.duty.part", "another run"] {
        assert!(error.to_string().contains(word), "{word} is missing: {error}");
    }
    // So is the other one's, whose time was changed: what cannot be told apart is not named.
    assert!(second.finish(&tail(1, 3)).is_err());
    assert!(!place.exists());
    let whole = begun(1);
    whole.finish(&tail(1, 3)).unwrap();
    assert!(place.exists());
}

#[test]
fn places_that_cannot_work_are_refused_at_once() {
    let directory = tempfile::tempdir().unwrap();
    let at = |name: &str| directory.path().join(name);
    let head = head(&[run_of(3, 255, false)]);
    let refusal = |path: &Path| match DutyFile::create(path, &head) {
        Err(error @ SinkError::Place { .. }) => error.to_string(),
        other => panic!("{}: {other:?}", path.display()),
    };
    assert!(refusal(&at("none/song.duty")).contains("create it first"));
    assert!(refusal(directory.path()).contains("is a directory"));
    assert!(refusal(Path::new("/")).contains("no file name"));
    fs::write(at("plain"), "").unwrap();
    assert!(refusal(&at("plain/song.duty")).contains("plain"));
    fs::create_dir(at("taken.duty.part")).unwrap();
    assert!(refusal(&at("taken.duty")).contains("is a directory"));
    let first = DutyFile::create(at("song.duty"), &head).unwrap();
    assert!(refusal(&at("song.duty")).contains("another run"));
    drop(first);
    DutyFile::create(at("song.duty"), &head).unwrap();

    let wrong = Head { rate: [0, 0], ..head.clone() };
    let error = DutyFile::create(at("never.duty"), &wrong).unwrap_err();
    assert!(matches!(error, SinkError::Packets(WriteError::Head(_))));
    assert!(!at("never.duty.part").exists(), "a refused head left a file");
}

#[test]
fn a_full_disk_is_told_with_the_file_and_what_to_do() {
    let source = WriteError::Io(std::io::ErrorKind::StorageFull.into());
    let told = SinkError::File { path: "tanks/song.duty.part".into(), source }.to_string();
    assert!(told.contains("tanks/song.duty.part") && told.contains("make room"), "{told}");
}

/// A device must not be replaced by a file, whoever runs this.
#[cfg(unix)]
#[test]
fn devices_are_left_alone() {
    let error = DutyFile::create("/dev/null", &head(&[run_of(1, 255, false)])).unwrap_err();
    assert!(error.to_string().contains("no plain file"), "{error}");
    assert!(!Path::new("/dev/null.part").exists());
}

#[test]
fn an_hour_is_read_to_its_last_frame() {
    let coils = [run_of(2, 255, false)];
    let bytes = in_memory(&coils, 720_000);
    let mut reader = Reader::new(bytes.as_slice()).unwrap();
    let mut frames = 0_u32;
    while let Some(entry) = reader.next_entry().unwrap() {
        frames += u32::from(matches!(entry, Entry::Duty { .. }));
    }
    assert!(reader.is_whole());
    assert_eq!(frames, 720_000);
}

#[test]
fn a_sink_that_keeps_no_meters_takes_them_all_the_same() {
    let mut memory = coilscore::sink::memory::Memory::new();
    memory.duty(0, &[coilscore::budget::Duty::OFF; 2]).unwrap();
    memory.meter(&Meter::default()).unwrap();
    memory.off(1).unwrap();
    assert_eq!(memory.frames, [(0, vec![RecordedCode(0); 2])]);
    assert_eq!((memory.meters.len(), memory.offs), (1, vec![1]));
}
