//! Every mapping that ships, on every display that has its groups: it moves, within reason, and
//! each of its routes has a part in it. And what holds when a mapping is put onto another display.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise; their numbers are small"
)]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use coilscore::analysis::Arith;
use coilscore::audio::demo::DemoSong;
use coilscore::audio::{SampleBlock, SoundFormat, Source};
use coilscore::budget::Start;
use coilscore::engine::{Engine, Prepared};
use coilscore::mapper::Mapper;
use coilscore::preset::{Mapping, load_display, load_mapping, mapping, prepare};
use coilscore::units::Rate;
use common::HOT_RING;

const SOUND: SoundFormat = SoundFormat { rate_hz: 44_100, channels: 2 };
const RATE_HZ: u32 = 100;

fn tomls(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)).unwrap();
    let mut paths: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    paths.sort();
    paths
}

/// The demo song from its third to its eleventh second: kick, bass, pad, snare and hats.
fn excerpt() -> Vec<f32> {
    let mut song = DemoSong::new();
    let mut samples = Vec::new();
    while let Some(block) = song.next_block().unwrap() {
        samples.extend_from_slice(block.interleaved());
    }
    samples[3 * 88_200..11 * 88_200].to_vec()
}

/// What came of a rendering: means over frames and coils.
struct Outcome {
    asked: f64,
    granted: f64,
    highest: f64,
    /// The largest that each route asked of any coil, were it alone.
    routes: Vec<f64>,
}

fn rendered(settings: &Prepared, samples: &[f32]) -> Outcome {
    let mut engine = Engine::new(settings).unwrap();
    let alone = |route: &_| {
        let mut settings = settings.mapper.clone();
        settings.routes = vec![Clone::clone(route)];
        Mapper::new(&settings).unwrap()
    };
    let mut solos: Vec<Mapper> = settings.mapper.routes.iter().map(alone).collect();
    let mut out =
        Outcome { asked: 0.0, granted: 0.0, highest: 0.0, routes: vec![0.0; solos.len()] };
    let mut rest = SampleBlock::new(samples, 2).unwrap();
    let mut cells = 0.0;
    while let (left, Some(step)) = engine.step(rest) {
        rest = left;
        for ((wish, duty), coil) in step.wishes.iter().zip(step.duties).zip(&settings.budget.coils)
        {
            out.asked += wish.get().abs();
            out.granted += f64::from(duty.code().abs()) / f64::from(coil.steps);
            out.highest = out.highest.max(wish.get().abs());
            cells += 1.0;
        }
        for (solo, most) in solos.iter_mut().zip(&mut out.routes) {
            let wishes = solo.wish(&step.heard).iter();
            *most = wishes.map(|wish| wish.get().abs()).fold(*most, f64::max);
        }
    }
    out.asked /= cells;
    out.granted /= cells;
    out
}

/// What is not as a mapping should be.
fn complaints(pair: &str, out: &Outcome, routes: &[String]) -> Vec<String> {
    let mut wrong = Vec::new();
    if !(0.03..0.7).contains(&out.asked) {
        wrong.push(format!("{pair}: mean asked {}", out.asked));
    }
    if out.highest < 0.4 {
        wrong.push(format!("{pair}: nothing strong, {}", out.highest));
    }
    if out.granted < 0.3 * out.asked {
        wrong.push(format!("{pair}: mean granted {} of {}", out.granted, out.asked));
    }
    for (most, name) in out.routes.iter().zip(routes) {
        if *most < 0.1 {
            wrong.push(format!("{pair}: route {name} reaches {most}"));
        }
    }
    wrong
}

#[test]
fn every_shipped_mapping_moves_every_display_it_suits() {
    let samples = excerpt();
    let rate = Rate::new(RATE_HZ, 1).unwrap();
    let (mut pairs, mut mappings, mut wrong) = (0, 0, Vec::new());
    for mapping in tomls("presets").iter().map(|path| load_mapping(path).unwrap()) {
        let mut fits = 0;
        for display in tomls("presets/displays").iter().map(|path| load_display(path).unwrap()) {
            // Not all have the groups, and bands cannot be laid out where all coils stand level.
            let Ok((settings, names)) =
                prepare(&mapping, &display, SOUND, rate, Start::Cold, Arith::Native)
            else {
                continue;
            };
            if let Err(refusal) = Engine::new(&settings) {
                let level = refusal.to_string().contains("stand at the same place along");
                assert!(level, "{} on {}: {refusal}", mapping.name, display.name);
                continue;
            }
            let pair = format!("{} on {}", mapping.name, display.name);
            let out = rendered(&settings, &samples);
            println!(
                "{pair:<28} asked {:.3} granted {:.3} highest {:.2} routes {:.2?}",
                out.asked, out.granted, out.highest, out.routes
            );
            wrong.extend(complaints(&pair, &out, &names.routes));
            fits += 1;
        }
        assert!(fits > 0, "{} suits no display", mapping.name);
        pairs += fits;
        mappings += 1;
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(mappings >= 8 && pairs >= 25, "{mappings} mappings, {pairs} pairs");
}

/// A mapping with every motion that knows directions, and more at its head.
fn directed(
    head: &str,
    towards: [i32; 2],
    from_mm: [i32; 2],
    start: i32,
    clockwise: bool,
) -> Mapping {
    let [first, second] = towards;
    let text = format!(
        r#"
schema = 1
name = "directed"
intent = "every direction there is"
combine = "over"
{head}
[[route]]
name = "column"
hears.band = {{ low_hz = 40, high_hz = 120 }}
moves.column = {{ group = "all", towards_deg = {first}, edge_mm = 30 }}
weight = 0.6
[[route]]
name = "along"
hears.bands = {{ scale = "octave", from_hz = 250, to_hz = 4000 }}
moves.along = {{ group = "all", towards_deg = {second} }}
weight = 0.5
priority = 1
[[route]]
name = "around"
hears.edges = {{ hz = [200, 600, 2000] }}
moves.carry = {{ group = "all", path.ring = {{ start_deg = {start}, clockwise = {clockwise} }}, spot_mm = 70, fastest_mm_per_s = 400 }}
weight = 0.4
priority = 2
[[route]]
name = "across"
hears.band = {{ low_hz = 300, high_hz = 3000 }}
moves.carry = {{ group = "all", path.axis = {{ towards_deg = {first} }}, spot_mm = 70, fastest_mm_per_s = 400 }}
weight = 0.4
priority = 3
[[route]]
name = "outward"
hears.band = {{ low_hz = 4000, high_hz = 12000 }}
moves.outward = {{ group = "all", from_mm = {from_mm:?}, mm_per_s = 600 }}
weight = 0.4
priority = 4
"#
    );
    mapping::read("directed", &text).unwrap_or_else(|refusals| panic!("{refusals}"))
}

fn wishes(mapping: &Mapping, display_text: &str, samples: &[f32]) -> Vec<Vec<f64>> {
    let display = coilscore::preset::display::read("display", display_text).unwrap();
    let rate = Rate::new(RATE_HZ, 1).unwrap();
    let settings = prepare(mapping, &display, SOUND, rate, Start::Cold, Arith::Portable).unwrap().0;
    let mut engine = Engine::new(&settings).unwrap();
    let mut rest = SampleBlock::new(samples, 2).unwrap();
    let mut frames = Vec::new();
    while let (left, Some(step)) = engine.step(rest) {
        frames.push(step.wishes.iter().map(|wish| wish.get()).collect());
        rest = left;
    }
    frames
}

/// Turning or mirroring a mapping is the same as writing each of its directions anew: first
/// mirrored, then turned counter-clockwise.
#[test]
fn a_turned_or_mirrored_mapping_is_one_with_other_directions() {
    let samples = excerpt();
    let samples = &samples[..3 * 88_200];
    let plain = directed("", [20, 75], [-60, 100], 60, true);
    let as_it_was = wishes(&plain, HOT_RING, samples);
    for (head, towards, from_mm, start, clockwise) in [
        ("turn_deg = 90", [110, 165], [-100, -60], 150, true),
        ("turn_deg = -180", [200, 255], [60, -100], 240, true),
        ("mirror = \"x\"", [160, 105], [60, 100], 120, false),
        ("mirror = \"y\"", [-20, -75], [-60, -100], -60, false),
        // Left and right swapped, then turned by a quarter.
        ("mirror = \"x\"\nturn_deg = 90", [250, 195], [-100, 60], 210, false),
    ] {
        let moved = wishes(&directed(head, [20, 75], [-60, 100], 60, true), HOT_RING, samples);
        let written = wishes(&directed("", towards, from_mm, start, clockwise), HOT_RING, samples);
        let (mut strong, mut different) = (0, 0);
        for (frame, (moved, written)) in moved.iter().zip(&written).enumerate() {
            for (coil, (a, b)) in moved.iter().zip(written).enumerate() {
                assert!((a - b).abs() < 1e-6, "{head}: frame {frame}, coil {coil}: {a}, {b}");
                strong += usize::from(*a > 0.3);
                different += usize::from((a - as_it_was[frame][coil]).abs() > 0.1);
            }
        }
        assert!(strong > 500 && different > 500, "{head}: {strong} strong, {different} different");
    }
}

/// On a ring of 24, a turn by 15 degrees counter-clockwise hands each coil's part to the coil before
/// it.
#[test]
fn a_turn_by_one_coil_moves_all_on_by_one_coil() {
    let samples = excerpt();
    let samples = &samples[..2 * 88_200];
    let turned = |head| wishes(&directed(head, [20, 75], [-60, 100], 60, true), HOT_RING, samples);
    for (still, turned) in turned("").iter().zip(&turned("turn_deg = 15")) {
        for coil in 0..24 {
            let (a, b) = (still[(coil + 1) % 24], turned[coil]);
            assert!((a - b).abs() < 1e-6, "coil {coil}: {a}, {b}");
        }
    }
}

#[test]
fn trim_and_master_scale_what_is_asked() {
    let samples = excerpt();
    let samples = &samples[..2 * 88_200];
    let plain = wishes(&directed("", [0, 90], [0, 0], 90, true), HOT_RING, samples);
    let half = directed("master = 0.5", [0, 90], [0, 0], 90, true);
    let list: Vec<String> = (0..24).map(|coil| format!("{}", f64::from(coil) / 23.0)).collect();
    let list = format!("trim = [{}]", list.join(", "));
    for (trims, of) in [("", None), ("trim = 0.8", Some(0.8)), (list.as_str(), None)] {
        let display = HOT_RING.replace("first_channel = 0", &format!("first_channel = 0\n{trims}"));
        let scaled = wishes(&half, &display, samples);
        for (plain, scaled) in plain.iter().flatten().zip(scaled.iter().flatten()).enumerate().map(
            |(cell, (plain, scaled))| {
                let each = if trims.is_empty() { 1.0 } else { (cell % 24) as f64 / 23.0 };
                (plain * 0.5 * of.unwrap_or(each), *scaled)
            },
        ) {
            assert!((plain - scaled).abs() < 1e-12, "{trims}: {plain}, {scaled}");
        }
    }
}
