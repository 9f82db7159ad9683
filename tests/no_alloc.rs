//! The stages take their memory when they are built and none afterwards.
//!
//! An allocator that counts stands in for the system's. It counts per thread, so tests may run
//! side by side.
#![allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]

mod common;
#[path = "common/counting.rs"]
mod counting;

use std::hint::black_box;

use coilscore::analysis::onset::{Hearing, Onsets};
use coilscore::analysis::{Arith, Heard};
use coilscore::audio::demo::DemoSong;
use coilscore::audio::{SampleBlock, Source, collect};
use coilscore::budget::PullRange;
use coilscore::engine::Engine;
use coilscore::frame::record::Writer;
use coilscore::mapper::{
    Combine, Curve, EnvelopeSettings, Hears, IdleSettings, Mapper, MapperSettings, MotionSettings,
    Passages, Path, Place, RangeShape, RouteSettings,
};
use coilscore::run::meter::Metering;
use counting::allocations_during;

use coilscore::units::{CoilId, Millimetres, Rate, Seconds};

/// Numbers without pattern, 0 to 1: the same on every run.
fn noise(state: &mut u64) -> f32 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    (*state >> 40) as f32 / (1 << 24) as f32
}

#[test]
fn the_counter_counts() {
    let mut vec: Vec<u64> = Vec::new();
    assert_eq!(allocations_during(|| vec.push(1)), 1, "the first push takes memory");
    vec.reserve_exact(8);
    assert_eq!(allocations_during(|| vec.push(2)), 0, "there is room");
    assert_eq!(allocations_during(|| vec.reserve_exact(64)), 1, "growing counts");
    assert_eq!(allocations_during(|| drop(black_box(vec![0_u8; 16]))), 1, "zeroed memory counts");
    assert_eq!(allocations_during(|| drop(vec)), 0, "giving back does not");
    let elsewhere = std::thread::spawn(|| allocations_during(|| drop(black_box(Box::new(1)))));
    let here = allocations_during(|| assert_eq!(elsewhere.join().unwrap(), 1));
    assert_eq!(here, 0, "other threads are not counted here");
}

/// Every motion, curve and range, on 64 coils and 6 bands.
fn mapper(combine: Combine) -> Mapper {
    let coils = 64;
    let route = |motion, bands: &[usize], range, curve, weight| RouteSettings {
        hears: Hears::Levels,
        bands: bands.to_vec(),
        range,
        curve,
        envelope: EnvelopeSettings {
            attack_s: Seconds(0.01),
            release_s: Seconds(0.2),
            hold_s: Seconds(0.1),
        },
        motion,
        coils: (0..coils).map(CoilId).collect(),
        weight,
        priority: bands.len() as u32,
    };
    let follow = RangeShape::Follow { floor_db: -30.0, full_db: -3.0 };
    let fixed = RangeShape::Fixed { floor_dbfs: -60.0, full_dbfs: -10.0 };
    let column = MotionSettings::Column { towards_deg: 90.0, edge_mm: Millimetres(15.0) };
    let along = MotionSettings::Along { towards_deg: 0.0 };
    let carry =
        |path| MotionSettings::Carry { path, spot_mm: Millimetres(30.0), fastest_mm_per_s: 200.0 };
    let around = carry(Path::Ring { start_deg: 90.0, clockwise: true });
    let across = carry(Path::Axis { towards_deg: 30.0 });
    let from = Place { x_mm: Millimetres(10.0), y_mm: Millimetres(-5.0) };
    let outward = MotionSettings::Outward { from, speed_mm_per_s: 300.0, fade_per_m: 0.5 };
    let place = |i| Place {
        x_mm: Millimetres(f64::from(i % 8) * 12.0),
        y_mm: Millimetres(f64::from(i / 8) * 12.0),
    };
    Mapper::new(&MapperSettings {
        frame_rate: Rate::new(200, 1).unwrap(),
        places: (0..coils).map(place).collect(),
        routes: vec![
            route(MotionSettings::LevelAll, &[0], follow, Curve::Straight, 0.6),
            route(column, &[1], fixed, Curve::Soft, 1.0),
            route(along, &[2, 3, 4, 5], follow, Curve::Power(1.5), -0.8),
            route(around, &[2], follow, Curve::Straight, 0.7),
            route(across, &[3, 4, 5], fixed, Curve::Straight, 0.7),
            route(outward, &[5], follow, Curve::Straight, 0.5),
        ],
        combine,
        passages: Passages::Even,
        rest_s: Seconds(0.05),
        idle: IdleSettings {
            level: 0.2,
            period_s: Seconds(1.0),
            wander: true,
            coils: (0..coils).map(CoilId).collect(),
        },
        trims: vec![0.9; coils as usize],
        master: 0.8,
    })
    .unwrap()
}

#[test]
fn wishing_takes_no_memory() {
    for combine in [Combine::Max, Combine::Add, Combine::Over] {
        let mut mapper = mapper(combine);
        let (mut band_dbfs, top_dbfs, mut state) = ([0.0; 6], [-20.0; 6], 1);
        let (mut moved, mut idle) = (0.0, 0.0);
        let taken = allocations_during(|| {
            for frame in 0..10_000 {
                // A level that falls frame by frame fills the memory of peaks, noise empties it.
                let fall = frame % 100;
                for level in &mut band_dbfs {
                    let falling = -20.0 - fall as f32;
                    *level = if fall < 50 { falling } else { -60.0 * noise(&mut state) };
                }
                let quiet = frame % 1000 > 900;
                let heard = Heard {
                    band_dbfs: &band_dbfs,
                    top_dbfs: &top_dbfs,
                    senses: &[],
                    overall_dbfs: -20.0,
                    quiet,
                };
                let wished = mapper.wish(&heard).iter().map(|wish| wish.get().abs()).sum::<f64>();
                moved += wished;
                idle += if mapper.rest_gain() > 0.0 { 0.0 } else { wished };
                moved += mapper.routes().flatten().sum::<f64>();
            }
        });
        assert_eq!(taken, 0, "{combine:?}: memory was taken while wishing");
        assert!(idle > 10.0, "the idle motion never showed");
        assert!(moved > 10_000.0, "a mapper that does nothing proves nothing");
    }
}

/// Samples to packets: engine, meters and file writer, with the limiter at work and blocks of an
/// odd length, at a frame rate with looks between the frames and at one without.
#[test]
fn the_whole_line_takes_no_memory_once_it_runs() {
    let mut song = DemoSong::new();
    let sound = song.format();
    let samples = collect(&mut song).unwrap();
    let held = PullRange::Held { margin: 0.1, at: 0.3 };
    for (frame_rate, pull) in [("200", None), ("60000/1001", None), ("200", Some(held))] {
        let mut settings =
            common::prepared(common::BUSY, common::HOT_RING, sound.rate_hz, 2, frame_rate);
        if let Some(range) = pull {
            common::lay_law(&mut settings.budget, range);
        }
        let mut engine = Engine::new(&settings).unwrap();
        let mut metering = Metering::new(&settings.budget, settings.analysis.bands.len());
        let head = common::head(&engine, &settings);
        let mut file = Writer::new(std::io::sink(), &head).unwrap();
        let (warm_up, rest) = SampleBlock::new(&samples, 2).unwrap().split_at(44_100);
        let mut frames = run(warm_up, &mut engine, &mut metering, &mut file);
        let asked = allocations_during(|| {
            frames += run(rest, &mut engine, &mut metering, &mut file);
        });
        assert_eq!(asked, 0, "{frames} frames at {frame_rate}/s");
        assert!(frames > 1700, "only {frames} frames: the test shows less than it says");
        assert!(engine.budget().totals().cut_heat.iter().sum::<f64>() > 0.0, "never cut");
    }
}

fn run(
    sound: SampleBlock<'_>,
    engine: &mut Engine,
    metering: &mut Metering,
    file: &mut Writer<std::io::Sink>,
) -> usize {
    let mut frames = 0;
    let mut rest = sound;
    while rest.instants() > 0 {
        let (mut chunk, after) = rest.split_at(441);
        rest = after;
        while let (left, Some(step)) = engine.step(chunk) {
            file.duty(step.number, step.duties).unwrap();
            metering.add(&step);
            if let Some(meter) = metering.due(engine.budget()) {
                file.meter(meter).unwrap();
            }
            frames += 1;
            chunk = left;
        }
    }
    frames
}

/// Handing frames to boards costs the engine's thread no memory, whether the line takes them or not.
#[cfg(all(unix, feature = "serial"))]
#[test]
fn frames_for_a_board_take_no_memory() {
    use coilscore::budget::{Budget, Start};
    use coilscore::preset::{board_settings, display, prepare_display};
    use coilscore::sink::Sink;
    use coilscore::sink::board::Board;
    use coilscore::units::Share;
    use serialport::{SerialPort, TTYPort};

    let display = display::read("ring", common::HOT_RING).unwrap();
    let rate = Rate::new(200, 1).unwrap();
    let mut settings = board_settings(&display, rate).unwrap();
    settings.baud = Some(1_000_000);
    let (_far_end, near_end) = TTYPort::pair().unwrap();
    let mut board = Board::open(&settings, &[near_end.name().unwrap()]).unwrap();
    let (budget, _) = prepare_display(&display, rate, Start::Cold);
    let mut budget = Budget::new(&budget).unwrap();
    let wishes = vec![Share::ALL; 24];
    let requests = allocations_during(|| {
        for frame in 0..5000 {
            board.duty(frame, budget.permit(&wishes)).unwrap();
        }
        board.off(5000).unwrap();
        board.off_now();
    });
    assert_eq!(requests, 0);
}

/// Finding events and following the beat takes no memory, live and with look-ahead.
#[test]
fn events_take_no_memory() {
    let mut song = DemoSong::new();
    let sound = song.format();
    let samples = collect(&mut song).unwrap();
    let block = SampleBlock::new(&samples, sound.channels).unwrap();
    for hearing in [Hearing::AsLive, Hearing::LookAhead] {
        let mut onsets = Onsets::new(sound, hearing, Arith::Native).unwrap();
        let mut found = 0;
        let requests = allocations_during(|| {
            onsets.push(block, &mut |_| found += 1);
            onsets.finish(&mut |_| found += 1);
        });
        assert_eq!(requests, 0, "{hearing:?}");
        assert!(found > 100, "{hearing:?}: only {found} events");
    }
}
