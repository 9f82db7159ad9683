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

#[test]
fn duties_seen_at_one_distance_are_not_left_beside_another() {
    let seen = "first_channel = 0\nlift_duty = 0.4\ndrop_duty = 0.2";
    let display = changed("grade = \"N42\"", "grade = \"N42\"\nbehind_mm = 24")
        .replace("first_channel = 0", seen);
    let folder = bench(&display);
    let args = ["bias", "--display", "d.toml", "--share", "0.5", "--write", "--csv", "c.csv"];
    let done = run(folder.path(), &args);
    assert_eq!(done.status.code(), Some(2));
    let said = text(&done.stderr);
    assert!(said.contains("seen with the magnets at 24.00 mm and are wrong at"), "{said}");
    assert_eq!(fs::read_to_string(folder.path().join("d.toml")).unwrap(), display);
    assert!(!folder.path().join("c.csv").exists());
    let done = run(folder.path(), &args[..5]);
    let said = text(&done.stdout);
    assert!(said.contains("*: in line with the duties at which it was seen to lift, 24.00 mm"));
}

#[test]
fn what_cannot_work_is_said() {
    let one_way = changed("polarity = \"sign_magnitude\"", "polarity = \"one_way\"")
        .replace("bridge_zero_ms = 5\n", "");
    let folder = bench(&one_way);
    let said = |more: &[&str]| {
        let args = [&["bias", "--display", "d.toml"], more].concat();
        text(&run(folder.path(), &args).stdout).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let strong = said(&["--share", "0.85", "--magnet-c", "120"]);
    assert!(strong.contains("a driver that works one way never lets it drop again"), "{strong}");
    assert!(strong.contains("At 120 C the magnets are above the 65 C that they stand"), "{strong}");
    // Cold magnets are stronger; a temperature may be below nothing.
    let usual = said(&["--magnet-c", "-5"]);
    assert!(!usual.contains("never lets") && !usual.contains("do not lift"), "{usual}");
    assert!(!usual.contains("weaken for good: a grade"), "{usual}");
    let opposed = one_way.replace("grade = \"N42\"", "grade = \"N42\"\nopposed = true");
    fs::write(folder.path().join("d.toml"), opposed).unwrap();
    let opposed = said(&[]);
    assert!(
        opposed.contains("12 of 12 coils do not lift with a driver that works one way"),
        "{opposed}"
    );
}

/// Remanence falls with warmth and takes its square from the bias: what is asked for warm is more cold.
#[test]
fn a_share_may_be_asked_for_warm() {
    let folder = bench(DISPLAY);
    let figures = |more: &[&str]| {
        let args = [&["bias", "--display", "d.toml", "--json", "--share", "0.7"], more].concat();
        let done = run(folder.path(), &args);
        serde_json::from_slice::<serde_json::Value>(&done.stdout).unwrap()
    };
    let most = |json: &serde_json::Value| {
        let coils = json["coils"].as_array().unwrap().iter();
        coils.map(|coil| coil["law"]["q0"].as_f64().unwrap()).fold(0.0, f64::max)
    };
    let warm = ["--magnet-c", "60", "--liquid-c", "20"];
    let (cold, warm) = (figures(&warm), figures(&[&warm[..], &["--warm"]].concat()));
    assert!((most(&cold) - 0.7).abs() < 1e-6);
    // -0.12 %/K over 40 K (makers' tables of neodymium magnets: -0.11 to -0.12 %/K).
    let by_hand = 0.7 / (1.0 - 0.0012 * 40.0_f64).powi(2);
    assert!((most(&warm) / by_hand - 1.0).abs() < 0.01, "{} for {by_hand}", most(&warm));
    assert!(warm["behind_mm"].as_f64().unwrap() < cold["behind_mm"].as_f64().unwrap());
    let args = ["bias", "--display", "d.toml", "--share", "0.95", "--magnet-c", "60", "--warm"];
    let done = run(folder.path(), &args);
    let said = text(&done.stderr);
    assert!(
        done.status.code() == Some(2) && said.contains("fluid up by themselves cold"),
        "{said}"
    );
}
