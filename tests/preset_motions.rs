//! What a mapping says of motions, layers, idle motion and its place on the display, and what a
//! display says of trim, arrives where it is used.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::float_cmp,
    clippy::indexing_slicing,
    reason = "tests stop at the first surprise"
)]

mod common;

use coilscore::analysis::Arith;
use coilscore::audio::SoundFormat;
use coilscore::budget::Start;
use coilscore::mapper::{Combine, IdleSettings, MapperSettings, MotionSettings, Path, Place};
use coilscore::preset::{display, mapping, prepare};
use coilscore::units::{Millimetres, Rate};

/// Every key of these at a value of its own, then at its default.
const MAPPING: &str = r#"
schema = 1
name = "motions"
intent = "Every motion, once plain and once with all its keys."
combine = "over"
master = 0.75
mirror = "y"
turn_deg = 90
idle = { level = 0.2, period_s = 12, group = "b", wander = true }
[[route]]
name = "around"
hears.band = { low_hz = 150, high_hz = 450 }
moves.carry = { group = "b", path.ring = { start_deg = 30, clockwise = false }, spot_mm = 45, fastest_mm_per_s = 250 }
priority = 9
[[route]]
name = "plain ring"
hears.edges = { hz = [100, 200, 400] }
moves.carry = { group = "all", path = "ring", spot_mm = 45, fastest_mm_per_s = 250 }
[[route]]
name = "across"
hears.band = { low_hz = 150, high_hz = 450 }
moves.carry = { group = "all", path.axis = { towards_deg = -20 }, spot_mm = 46, fastest_mm_per_s = 251 }
[[route]]
name = "from its middle"
hears.band = { low_hz = 150, high_hz = 450 }
moves.outward = { group = "b", mm_per_s = 400 }
[[route]]
name = "from a point"
hears.band = { low_hz = 150, high_hz = 450 }
moves.outward = { group = "all", from_mm = [5, -6], mm_per_s = 401, fade_per_m = 0.25 }
"#;

/// Two coils at [0, 0] and [0, 30] in group `one`, two at [100, 0] and [100, 200] in group `b`.
fn display_text() -> String {
    let first = common::UNLIMITED
        .replace("mm = [[0, 0]]", "mm = [[0, 0], [0, 30]]")
        .replace("first_channel = 0", "first_channel = 0\ntrim = [0.5, 0.625]");
    let second = "[[coils]]\ngroup = \"b\"\ntype = \"cool\"\nrail = \"bench\"\nfirst_channel = 2\n\
                  trim = 0.875\nplace.at = { mm = [[100, 0], [100, 200]] }\n";
    first + second
}

fn prepared(mapping_text: &str, display_text: &str) -> MapperSettings {
    let mapping = mapping::read("m", mapping_text).unwrap_or_else(|e| panic!("{e}"));
    assert!(mapping.warnings.is_empty());
    let display = display::read("d", display_text).unwrap_or_else(|e| panic!("{e}"));
    let sound = SoundFormat { rate_hz: 44_100, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Native).unwrap().0.mapper
}

#[test]
fn every_value_arrives_where_it_is_used() {
    let mapper = prepared(MAPPING, &display_text());
    // As the mapping sees them: [0, 30] and [100, 200] turned back by a quarter, then upside down.
    let place = |coil: usize| (mapper.places[coil].x_mm.0, mapper.places[coil].y_mm.0);
    assert_eq!((place(1), place(3)), ((30.0, 0.0), (200.0, 100.0)));
    assert_eq!((mapper.combine, mapper.master), (Combine::Over, 0.75));
    assert_eq!(mapper.trims, [0.5, 0.625, 0.875, 0.875]);
    let idle = &mapper.idle;
    assert_eq!((idle.level, idle.period_s.0, idle.wander), (0.2, 12.0, true));
    assert_eq!(idle.coils.iter().map(|coil| coil.0).collect::<Vec<_>>(), [2, 3]);
    assert_eq!((mapper.routes[0].priority, mapper.routes[1].priority), (9, 0));

    let at = |x, y| Place { x_mm: Millimetres(x), y_mm: Millimetres(y) };
    let carry = |path, spot, fastest_mm_per_s| MotionSettings::Carry {
        path,
        spot_mm: Millimetres(spot),
        fastest_mm_per_s,
    };
    let outward = |from, speed_mm_per_s, fade_per_m| MotionSettings::Outward {
        from,
        speed_mm_per_s,
        fade_per_m,
    };
    let motions: Vec<_> = mapper.routes.iter().map(|route| route.motion).collect();
    let by_hand = [
        carry(Path::Ring { start_deg: 30.0, clockwise: false }, 45.0, 250.0),
        carry(Path::Ring { start_deg: 90.0, clockwise: true }, 45.0, 250.0),
        carry(Path::Axis { towards_deg: -20.0 }, 46.0, 251.0),
        // The middle of [100, 0] and [100, 200] is [100, 100]; turned back and upside down it stays.
        outward(at(100.0, 100.0), 400.0, 0.0),
        outward(at(5.0, -6.0), 401.0, 0.25),
    ];
    assert_eq!(motions, by_hand);
}

#[test]
fn what_is_left_out_changes_nothing() {
    let plain = common::one_band("one", 100.0, 400.0, -40.0, 0.0);
    let mapper = prepared(&plain, common::UNLIMITED);
    assert_eq!((mapper.idle, mapper.master, mapper.trims), (IdleSettings::NONE, 1.0, vec![1.0]));
    let defaults = "master = 1\nmirror = \"none\"\nturn_deg = 0\n[[route]]\npriority = 0\n";
    let written = plain.replace("[[route]]\n", defaults);
    let digest = |text: &str| mapping::read("m", text).unwrap().digest_hex();
    assert_eq!(digest(&plain), digest(&written), "a default counts as written");
    let idle = |text: &str| plain.replace("[[route]]", &format!("idle = {{ {text} }}\n[[route]]"));
    let whole = idle("level = 0.1, period_s = 8, group = \"all\", wander = false");
    assert_eq!(digest(&idle("level = 0.1")), digest(&whole));
    for changed in [
        plain.replace("[[route]]", "mirror = \"x\"\n[[route]]"),
        plain.replace("[[route]]", "turn_deg = 5\n[[route]]"),
        plain.replace("[[route]]", "master = 0.9\n[[route]]"),
        idle("level = 0.1"),
        idle("level = 0.1, wander = true"),
    ] {
        assert_ne!(digest(&changed), digest(&plain), "{changed}");
    }
}
