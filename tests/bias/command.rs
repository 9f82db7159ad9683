//! Text, table, picture, JSON, and the distance written back.

use std::fs;

use tempfile::TempDir;

use super::{DISPLAY, changed, run, text};

fn bench(display: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("d.toml"), display).unwrap();
    folder
}

#[test]
fn the_distance_for_a_share_is_found_and_written_with_comments_kept() {
    let folder = bench(DISPLAY);
    let args = ["bias", "--display", "d.toml", "--share", "0.8", "--write", "--csv", "c.csv"];
    let done = run(folder.path(), &args);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let said = text(&done.stdout);
    for words in ["found for the bias asked", "lifts", "drops", "gain", "both ways", "Cautions"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let written = fs::read_to_string(folder.path().join("d.toml")).unwrap();
    let line = written.lines().find(|line| line.starts_with("behind_mm")).unwrap();
    assert_eq!(written.replace(&format!("{line}\n"), ""), DISPLAY, "nothing else changed");
    // The coil with the most bias has the share that was asked for.
    let table = fs::read_to_string(folder.path().join("c.csv")).unwrap();
    let rows: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    let column = rows[0].iter().position(|name| *name == "q0").unwrap();
    let q0 = rows[1..].iter().map(|row| row[column].parse::<f64>().unwrap());
    assert_eq!(rows.len(), 13);
    assert!((q0.fold(0.0, f64::max) - 0.8).abs() < 1e-4);
    // Run again without a share it stands at the stated distance, and says the same.
    let again = text(&run(folder.path(), &["bias", "--display", "d.toml"]).stdout);
    assert!(again.contains("as the display states"), "{again}");
}

/// Nine tenths of the share at which fluid drops on a one-way driver, so that it does drop.
#[test]
fn a_one_way_driver_gets_a_bias_that_lets_go() {
    let one_way = changed("polarity = \"sign_magnitude\"", "polarity = \"one_way\"")
        .replace("bridge_zero_ms = 5\n", "");
    let folder = bench(&one_way);
    let done = run(folder.path(), &["bias", "--display", "d.toml", "--json"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let json: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let coils = json["coils"].as_array().unwrap();
    let q0 = coils.iter().map(|coil| coil["law"]["q0"].as_f64().unwrap());
    assert!((q0.fold(0.0, f64::max) - 0.54).abs() < 1e-3);
    assert!(coils.iter().all(|coil| coil["law"]["drop_u"].as_f64().unwrap() > 0.0));
    assert!(json["cautions"].as_str().unwrap().contains("pacemakers"));
    let cases = json["kinds"][0]["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 10);
}

#[test]
fn the_picture_shows_five_distances_and_every_coil() {
    let folder = bench(DISPLAY);
    let done = run(folder.path(), &["bias", "--display", "d.toml", "--picture", "b.png"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let picture = image::open(folder.path().join("b.png")).unwrap().to_rgb8();
    assert_eq!(picture.dimensions(), (1600, 900));
    // The curve that is set is blue, and rises: its pixel at full current lies above that at none.
    let blue = coilscore::picture::colour::BLUE;
    let height = |x: u32| (130..760).find(|&y| picture.get_pixel(x, y).0 == blue);
    let (rest, full) = (height(440).unwrap(), height(815).unwrap());
    assert!(full + 100 < rest, "{full} over {rest}");
    // Twelve round spots in three rows of four: through their upper edges, above the numbers in them.
    let row = |y: u32| {
        let inks: Vec<bool> =
            (935..1555).map(|x| picture.get_pixel(x, y).0 != [255, 255, 255]).collect();
        inks.windows(2).filter(|pair| !pair[0] && pair[1]).count()
    };
    let spots: Vec<usize> = (140..750).map(row).collect();
    let begins = spots.windows(2).filter(|pair| pair[0] == 0 && pair[1] == 4).count();
    assert_eq!(begins, 3, "{spots:?}");
}

#[test]
fn outputs_do_not_go_over_the_display() {
    let folder = bench(DISPLAY);
    let done = run(folder.path(), &["bias", "--display", "d.toml", "--csv", "d.toml"]);
    assert_eq!(done.status.code(), Some(2));
    assert_eq!(fs::read_to_string(folder.path().join("d.toml")).unwrap(), DISPLAY);
}
