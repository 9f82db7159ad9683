//! What a walk writes into a display file, and what it leaves alone.

use std::fs;
use std::path::Path;

use coilscore::preset::write::{SeenLifts, with_lifts};
use coilscore::preset::{Display, display, load_display};
use coilscore::run::rewrite::RewriteError;
use coilscore::run::walk::{SaveError, save};

use super::rings::ring;

fn seen(lift: &[f64], drop: &[f64]) -> SeenLifts {
    let some = |duties: &[f64]| duties.iter().map(|d| (*d > 0.0).then_some(*d)).collect();
    SeenLifts { lift_duty: some(lift), drop_duty: some(drop), on: (2026, 3, 7) }
}

fn read(text: &str) -> Display {
    display::read("ring.toml", text).unwrap_or_else(|refusals| panic!("{refusals}"))
}

#[test]
fn values_go_in_and_comments_order_and_layout_stay() {
    let text = ring(3);
    let display = read(&text);
    let written =
        with_lifts(&text, &display, &seen(&[0.28814, 0.3, 0.0], &[0.064, 0.0, 0.0])).unwrap();
    let added =
        "lift_duty = [0.2881, 0.3, 0.0]\ndrop_duty = [0.064, 0.0, 0.0]\nlift_on = 2026-03-07\n";
    assert_eq!(written, text.replace("# the end", &format!("{added}# the end")));
    let lifts = read(&written).blocks[0].lifts.clone().unwrap();
    assert_eq!(lifts.lift_duty, [0.2881, 0.3, 0.0]);
    assert_eq!(lifts.on.as_deref(), Some("2026-03-07"));
}

#[test]
fn a_second_time_only_what_was_seen_changes() {
    let text = ring(3).replace(
        "# the end",
        "lift_duty = 0.3       # all alike\ndrop_duty = [\n  0.1, 0.2, # two\n  0.15,\n] # three\nlift_on = 2025-12-31  # new year's eve\n# the end",
    );
    let display = read(&text);
    let written = with_lifts(&text, &display, &seen(&[0.0, 0.4, 0.0], &[])).unwrap();
    let expected = ring(3).replace(
        "# the end",
        "lift_duty = [0.3, 0.4, 0.3]       # all alike\ndrop_duty = [0.1, 0.2, 0.15] # three\nlift_on = 2026-03-07  # new year's eve\n# the end",
    );
    assert_eq!(written, expected);
    // Nothing seen, nothing touched.
    assert_eq!(with_lifts(&text, &display, &seen(&[], &[])).unwrap(), text);
}

#[test]
fn every_shipped_display_takes_them_and_keeps_every_line() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets/displays");
    let mut count = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let display = load_display(&path).unwrap();
        let duties: Vec<f64> = (1..=display.coil_count()).map(|n| n as f64 / 1000.0).collect();
        let written = with_lifts(display.text(), &display, &seen(&duties, &duties)).unwrap();
        let mut lines = written.lines();
        for line in display.text().lines() {
            assert!(lines.any(|new| new == line), "{}: lost '{line}'", path.display());
        }
        let again = read(&written);
        let back: Vec<f64> =
            again.blocks.iter().flat_map(|block| block.lifts.clone().unwrap().lift_duty).collect();
        assert_eq!(back, duties, "{}", path.display());
        let mut bare = again.clone();
        bare.blocks.iter_mut().for_each(|block| block.lifts = None);
        assert_eq!(bare.digest_hex(), display.digest_hex(), "{}", path.display());
        assert_ne!(again.digest_hex(), display.digest_hex());
        count += 1;
    }
    assert!(count >= 5);
}

#[test]
fn blocks_written_in_one_line_are_found_too() {
    let text = ring(2);
    let (head, block) = text.split_once("[[coils]]").unwrap();
    let keys: Vec<&str> = block
        .lines()
        .map(|line| line.split('#').next().unwrap().trim())
        .filter(|line| !line.is_empty())
        .collect();
    let (top, rest) = head.split_once("[driver]").unwrap();
    let text = format!("{top}coils = [{{ {} }}]\n[driver]{rest}", keys.join(", "));
    let display = read(&text);
    let written = with_lifts(&text, &display, &seen(&[0.3, 0.4], &[0.1, 0.1])).unwrap();
    assert_eq!(read(&written).blocks[0].lifts.as_ref().unwrap().lift_duty, [0.3, 0.4]);
}

#[test]
fn a_file_that_was_changed_meanwhile_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ring.toml");
    fs::write(&path, ring(2)).unwrap();
    let display = load_display(&path).unwrap();
    let changed = ring(2).replace("# my ring", "# her ring");
    fs::write(&path, &changed).unwrap();
    let problem = save(&path, &display, &seen(&[0.3, 0.3], &[0.1, 0.1])).unwrap_err();
    assert!(matches!(problem, SaveError::File(RewriteError::Changed(_))), "{problem}");
    assert_eq!(fs::read_to_string(&path).unwrap(), changed);
    fs::remove_file(&path).unwrap();
    assert!(save(&path, &display, &seen(&[0.3, 0.3], &[])).is_err());
    assert!(!path.exists());
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link_and_rights_stay() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = tempfile::tempdir().unwrap();
    let (path, link) = (folder.path().join("ring.toml"), folder.path().join("link.toml"));
    fs::write(&path, ring(2)).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
    symlink(&path, &link).unwrap();
    let display = load_display(&link).unwrap();
    let written = save(&link, &display, &seen(&[0.3, 0.3], &[0.1, 0.1])).unwrap();
    assert!(written.blocks[0].lifts.is_some());
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o640);
    assert!(fs::read_to_string(&path).unwrap().contains("lift_duty"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn what_cannot_be_is_refused_with_its_place() {
    let with = |lines: &str| {
        let text = ring(3).replace("# the end", lines);
        display::read("ring.toml", &text).unwrap_err().to_string()
    };
    for (lines, words) in [
        ("lift_duty = 1.5", "outside 0 to 1"),
        ("lift_duty = [0.1, 0.2]", "write exactly 3"),
        ("lift_duty = [0.3, 0.3, 0.3]\ndrop_duty = [0.1, 0.4, 0.1]", "item 2"),
        ("lift_on = \"yesterday\"", "without quotes"),
        ("lift_on = 2026-03-07T12:00:00", "not a date"),
        ("lift_dutty = 0.3", "did you mean `lift_duty`?"),
    ] {
        let told = with(lines);
        assert!(told.contains(words), "{lines}:\n{told}");
    }
}
