//! Heat files on a disk.

use std::fs;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use coilscore::budget::Start;
use coilscore::preset::{Display, load_display, prepare_display};
use coilscore::run::heat_file::{HeatFile, Known, Moment, Unknown, beside};
use coilscore::units::Rate;

fn display() -> Display {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/displays/ring24.toml");
    load_display(&path).unwrap()
}

fn known(file: &HeatFile, display: &Display) -> Result<Known, Unknown> {
    let (settings, _) = prepare_display(display, Rate::new(200, 1).unwrap(), Start::Unknown);
    file.known(&settings, &Moment::now())
}

fn warm() -> Vec<f64> {
    (0..48).map(|node| 30.0 + f64::from(node) / 8.0).collect()
}

#[test]
fn a_file_lies_beside_its_display_and_links_lead_to_it() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path().join("ring.toml");
    assert_eq!(beside(&there), folder.path().join("ring.heat"), "one that is not there yet");
    fs::write(&there, "").unwrap();
    let real = fs::canonicalize(folder.path()).unwrap();
    assert_eq!(beside(&there), real.join("ring.heat"));
    #[cfg(unix)]
    {
        let link = folder.path().join("link.toml");
        std::os::unix::fs::symlink(&there, &link).unwrap();
        assert_eq!(beside(&link), real.join("ring.heat"));
    }
}

#[test]
fn it_is_written_before_the_first_frame_and_closed_at_the_end() {
    let (folder, display) = (tempfile::tempdir().unwrap(), display());
    let file = HeatFile::new(folder.path().join("ring.heat"), &display);
    assert_eq!(known(&file, &display), Err(Unknown::Missing));
    let keeper = file.keep(&[25.0; 48]).unwrap();
    let first = known(&file, &display).unwrap();
    assert!(!first.closed && !keeper.is_stuck());
    assert!(file.is_kept(), "another run would see that");
    // Whoever reads it now has to take the windings for driven in full.
    assert!(first.node_c[0].0 > 40.0, "{:?}", first.node_c[0]);
    keeper.note(&warm());
    drop(keeper);
    let last = known(&file, &display).unwrap();
    assert!(last.closed && !file.is_kept());
    for (node, (kept, told_c)) in last.node_c.iter().zip(warm()).enumerate() {
        // The board's hold in full, and a moment of cooling.
        let off_k = kept.0 - told_c;
        assert!((-0.5..2.0).contains(&off_k), "node {node}: {off_k} K");
    }
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

/// Every writing makes a new file: that one is locked as well.
#[test]
fn it_stays_kept_when_it_is_written_again() {
    let (folder, display) = (tempfile::tempdir().unwrap(), display());
    let file = HeatFile::new(folder.path().join("ring.heat"), &display);
    let keeper = file.keep(&[25.0; 48]).unwrap();
    let (mut last, mut writings) = (fs::read(file.path()).unwrap(), 0);
    let began = Instant::now();
    while writings < 2 {
        assert!(file.is_kept(), "after {writings} writings");
        assert!(began.elapsed() < Duration::from_secs(60), "it is not written again");
        let now = fs::read(file.path()).unwrap();
        writings += u32::from(now != last);
        last = now;
        thread::sleep(Duration::from_millis(5));
    }
    drop(keeper);
    assert!(!file.is_kept());
}

#[test]
fn a_display_that_is_edited_while_it_is_driven_keeps_its_heat() {
    let (folder, display) = (tempfile::tempdir().unwrap(), display());
    let mut edited = display.clone();
    edited.name = "edited".into();
    let file = HeatFile::new(folder.path().join("ring.heat"), &display);
    let keeper = file.keep(&[25.0; 48]).unwrap();
    keeper.renamed(&edited);
    drop(keeper);
    assert_eq!(known(&file, &display), Err(Unknown::OtherDisplay));
    assert!(known(&HeatFile::new(file.path(), &edited), &edited).unwrap().closed);
}

#[test]
fn a_file_that_cannot_be_written_is_removed() {
    let (folder, display) = (tempfile::tempdir().unwrap(), display());
    let file = HeatFile::new(folder.path().join("ring.heat"), &display);
    let keeper = file.keep(&[25.0; 48]).unwrap();
    // No file can be begun where a folder is.
    fs::create_dir(folder.path().join("ring.heat.part")).unwrap();
    keeper.note(&warm());
    drop(keeper);
    assert_eq!(known(&file, &display), Err(Unknown::Missing));
}

#[test]
fn nothing_is_kept_where_nothing_can_be_written() {
    let (folder, display) = (tempfile::tempdir().unwrap(), display());
    let place = folder.path().join("no such folder").join("ring.heat");
    let problem = HeatFile::new(place, &display).keep(&[25.0; 48]).unwrap_err().to_string();
    assert!(problem.contains("create it first"), "{problem}");
    let file = HeatFile::new(folder.path().join("ring.heat"), &display);
    file.forget().unwrap();
    drop(file.keep(&[25.0; 48]).unwrap());
    file.forget().unwrap();
    assert_eq!(known(&file, &display), Err(Unknown::Missing));
    fs::write(file.path(), [0xFF, 0xFE, 0x00]).unwrap();
    assert_eq!(known(&file, &display), Err(Unknown::Torn));
}
