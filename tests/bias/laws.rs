//! From a display file to the law of every coil.

use coilscore::budget::{Start, pull_reports};
use coilscore::coil::lift::PullLaw;
use coilscore::preset::pulls::{KnownPull, Lifting};
use coilscore::preset::{Display, display, prepare_pulls};
use coilscore::sheet::lift::{Wanted, lift_sheet};
use coilscore::units::{Celsius, Rate};

use super::{DISPLAY, changed};

/// The same without the driver's drops: the mean current is the duty's share of full current.
fn dropless(behind_mm: f64, seen: &str) -> Display {
    let text = changed("grade = \"N42\"", &format!("grade = \"N42\"\nbehind_mm = {behind_mm}"))
        .replace("switch_drop_v = 0.1\ndiode_drop_v = 0.4", "")
        .replace("first_channel = 0", &format!("first_channel = 0\n{seen}"));
    assert!(!text.contains("diode_drop_v"));
    read(&text)
}

fn read(text: &str) -> Display {
    display::read("test", text).unwrap_or_else(|error| panic!("{error}"))
}

/// The bench of the worked figures: fluid 8 mm in front and 10 mm below, 200 kg/m3 heavier, a disc of
/// 20 x 5 mm and 1.3 T whose face lies 20.39 mm behind, where another program found a bias of 0.8. Iron
/// does not count here: it carries the coil's field, not the magnet's.
#[test]
fn the_magnets_bias_is_the_one_of_the_worked_bench() {
    let text = changed("grade = \"N42\"", "remanence_t = 1.3\nbehind_mm = 20.39")
        .replace(
            "liquid.salt_water = { nacl_percent = 1.5 }",
            "liquid.known = { kg_per_m3 = 1010 }",
        )
        .replace("columns = 4, rows = 3", "columns = 1, rows = 1");
    let display = read(&text);
    let pulls = display.pulls();
    let law = pulls[0].unwrap().law;
    assert!((law.q0 - 0.8).abs() < 1e-3, "{}", law.q0);
}

#[test]
fn every_coil_has_a_law_and_outer_ones_differ() {
    let display = read(&changed("grade = \"N42\"", "grade = \"N42\"\nbehind_mm = 20"));
    let pulls: Vec<KnownPull> = display.pulls().into_iter().map(Option::unwrap).collect();
    assert_eq!(pulls.len(), 12);
    let q0 = |coil: usize| pulls[coil].law.q0;
    // A grid of four by three: left and right are mirror images, up and down are not.
    assert!((q0(0) - q0(3)).abs() < 1e-9 && (q0(4) - q0(7)).abs() < 1e-9);
    assert!((q0(0) - q0(8)).abs() > 1e-4 && (q0(0) - q0(1)).abs() > 1e-4);
    // 12 V over 13.4 ohm at 20 C, warmed to a room of 28 C: 13.4 * (234.5 + 28) / (234.5 + 20).
    let by_hand = 12.0 / (13.4 * 262.5 / 254.5);
    assert!((pulls[0].full.0 - by_hand).abs() < 1e-9);
    assert!(pulls.iter().all(|pull| !pull.seen && pull.drop_share == 0.6));
}

#[test]
fn a_magnet_turned_round_works_against_positive_current() {
    let law = |line: &str| {
        let text = changed("grade = \"N42\"", &format!("grade = \"N42\"\nbehind_mm = 20\n{line}"));
        read(&text).pulls()[0].unwrap().law
    };
    let (aids, opposes) = (law(""), law("opposed = true"));
    assert!((aids.c1 + opposes.c1).abs() < 1e-12 && aids.q0 == opposes.q0 && aids.c2 == opposes.c2);
    let half = law("shunt = 0.5");
    assert!((half.q0 / aids.q0 - 0.25).abs() < 1e-9 && (half.c1 / aids.c1 - 0.5).abs() < 1e-9);
}

/// What was seen to lift pulls 1 there, by definition, and drops where it was seen to drop.
#[test]
fn what_was_seen_replaces_what_was_reckoned() {
    let display = dropless(24.0, "lift_duty = 0.4\ndrop_duty = 0.2");
    for pull in display.pulls() {
        let KnownPull { law, drop_share, seen, .. } = pull.unwrap();
        assert!(seen && (law.pull(0.4) - 1.0).abs() < 1e-9);
        assert!((law.pull(0.2) - drop_share).abs() < 1e-9);
    }
    // All parts of the law by the same factor.
    let before = dropless(24.0, "").pulls();
    let (was, is) = (before[5].unwrap().law, display.pulls()[5].unwrap().law);
    let PullLaw { q0, c1, c2 } = was;
    assert!((is.q0 / q0 - is.c1 / c1).abs() < 1e-9 && (is.q0 / q0 - is.c2 / c2).abs() < 1e-9);
}

/// A duty that was seen to lift is the duty that is asked for to lift, whatever the driver drops.
#[test]
fn a_duty_that_was_seen_is_the_duty_that_is_asked_for() {
    for (drops, hz) in [
        ("switch_drop_v = 0.1\ndiode_drop_v = 0.4", 22_000),
        ("switch_drop_v = 0.5\ndiode_drop_v = 0.7", 22_000),
        ("switch_drop_v = 0\ndiode_drop_v = 0.7", 2_000),
        ("", 22_000),
    ] {
        let seen = "first_channel = 0\nlift_duty = 0.4\ndrop_duty = 0.2";
        let text = changed("grade = \"N42\"", "grade = \"N42\"\nbehind_mm = 26")
            .replace("first_channel = 0", seen)
            .replace("pwm_hz = 22000", &format!("pwm_hz = {hz}"))
            .replace("switch_drop_v = 0.1\ndiode_drop_v = 0.4", drops);
        let rate = Rate::new(200, 1).unwrap();
        let settings = prepare_pulls(&read(&text), rate, Start::Cold);
        for report in pull_reports(&settings) {
            let report = report.unwrap();
            let (lift, drop) = (report.lift_duty.unwrap(), report.drop_duty.unwrap());
            // The budget's curve is that of a winding halfway to its limit, the bench's at room.
            assert!((lift - 0.4).abs() < 4e-3 && (drop - 0.2).abs() < 4e-3, "{drops} {report:?}");
        }
    }
}

#[test]
fn what_is_not_said_is_asked_for() {
    let display = read(DISPLAY);
    assert!(display.pulls().iter().all(Option::is_none), "no distance, no law");
    assert!(Lifting::new(&display).is_ok());
    let bare: String = DISPLAY
        .lines()
        .filter(|line| !line.starts_with("shape."))
        .fold(String::new(), |text, line| text + line + "\n");
    let missing = Lifting::new(&read(&bare)).unwrap_err();
    assert!(missing.join(" ").contains("shape.spiral"), "{missing:?}");
    let plain = changed("diameter_mm = 20\nthickness_mm = 5\n", "").replace("\"N42\"", "\"N\"");
    let missing = Lifting::new(&read(&plain)).unwrap_err().join(" ");
    assert!(missing.contains("thickness_mm") && missing.contains("remanence_t"), "{missing}");
}

/// Displays that say nothing of lifting mean what they meant before.
#[test]
fn what_is_not_written_is_not_part_of_what_a_display_means() {
    let ring = include_str!("../../presets/displays/ring24.toml");
    let plain = read(ring);
    let said = format!(
        "{ring}\n[fluid]\nliquid.known = {{ kg_per_m3 = 1000 }}\nahead_mm = 8\nbelow_mm = 10\n"
    );
    assert_ne!(plain.digest_hex(), read(&said).digest_hex());
}

/// What was seen at one distance is a matter of weight, and so holds at others; duties do not.
#[test]
fn what_was_seen_at_one_distance_counts_at_another() {
    let display = dropless(24.0, "lift_duty = 0.4\ndrop_duty = 0.2");
    let at = Celsius(40.0);
    let wanted = Wanted { share: Some(0.5), warm: false, magnet: at, liquid: at };
    let sheet = lift_sheet(&display, &wanted).unwrap();
    let most = sheet.coils.iter().map(|coil| coil.law.q0).fold(0.0, f64::max);
    assert!((most - 0.5).abs() < 1e-6, "{most}");
    assert!((sheet.behind_mm - 24.0).abs() > 0.5, "{}", sheet.behind_mm);
    // The same by hand, coil by coil: reckoned there, times what was seen over what was reckoned here.
    let laws = |mm: f64| dropless(mm, "").pulls();
    for ((coil, here), there) in sheet.coils.iter().zip(laws(24.0)).zip(laws(sheet.behind_mm)) {
        let factor = 1.0 / here.unwrap().law.pull(0.4);
        let hand = there.unwrap().law.times(factor);
        assert!(coil.seen && (coil.law.q0 / hand.q0 - 1.0).abs() < 1e-6);
        assert!((coil.law.c1 / hand.c1 - 1.0).abs() < 1e-6);
        let drop_share = here.unwrap().law.pull(0.2) * factor;
        assert!((coil.drop_share - drop_share).abs() < 1e-9);
    }
    // Seen at no stated distance, they say nothing.
    let seen = "first_channel = 0\nlift_duty = 0.4\ndrop_duty = 0.2";
    let nowhere = read(&changed("first_channel = 0", seen));
    let sheet = lift_sheet(&nowhere, &wanted).unwrap();
    assert!(sheet.coils.iter().all(|coil| !coil.seen && coil.drop_share == 0.6));
}

/// Magnets side by side close together take from each other's pull along the wall or add to it; the
/// share that is found is the one that was asked for all the same.
#[test]
fn crowded_magnets_get_the_share_that_was_asked_for() {
    let at = Celsius(40.0);
    for pitch in [36, 40, 90] {
        for share in [0.3, 0.8] {
            let text = changed("pitch_mm = 60", &format!("pitch_mm = {pitch}"));
            let wanted = Wanted { share: Some(share), warm: false, magnet: at, liquid: at };
            let sheet = lift_sheet(&read(&text), &wanted).unwrap();
            let most = sheet.coils.iter().map(|coil| coil.law.q0).fold(0.0, f64::max);
            assert!((most - share).abs() < 1e-6, "{pitch} mm, {share}: {most}");
        }
    }
}
