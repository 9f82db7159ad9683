//! What heat leaves of a song, by four rules: a fixed clamp, the limiter alone, the rider with the
//! limiter behind it (as live), and the plan with the limiter behind it (files).
//!
//! `cargo run --release --example heat_table -- SONG...` renders every song on the display of 24 coils
//! with the demo mapping, from cold and from warm, with slow and with fast PWM, and prints a line for
//! each rule: hottest winding and backing, energy and motion (what moves of the duty: its squares around
//! its mean) as multiples of the clamp's, how alike wishes and duties move, over all coils and for the
//! least alike of them, and the time it took as a multiple of the limiter's. The rule `at most` is no
//! rule: whatever shape the duty had, no more energy than that can be in windings and backings up to
//! their bounds and through them to the room, or it is all that was wished.
#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "an example prints, and reads files"
)]

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Instant;

use coilscore::analysis::Arith;
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::{BudgetSettings, Clamp, Start};
use coilscore::coil::copper::COPPER_K_C;
use coilscore::engine::Engine;
use coilscore::frame::Gained;
use coilscore::preset::{Display, Mapping, display, load_mapping, prepare};
use coilscore::run::plan::{CoilGained, Piece, Tally};
use coilscore::run::{Flow, RenderJob, render_planned};
use coilscore::units::{Rate, Seconds};

const DISPLAY: &str = include_str!("../presets/displays/ring24.toml");

fn main() -> Result<(), Box<dyn Error>> {
    let songs: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let presets = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let mapping = load_mapping(&presets.join("demo.toml"))?;
    let rate = Rate::new(200, 1).ok_or("200 frames a second")?;
    println!(
        "song | start | PWM | rule | winding C | backing C | energy | motion | likeness | least | time"
    );
    println!("--- | --- | --- | --- | --- | --- | --- | --- | --- | --- | ---");
    for song in &songs {
        for (pwm, hz) in [("fast", "22000"), ("slow", "100")] {
            let text = DISPLAY.replace("pwm_hz = 22000", &format!("pwm_hz = {hz}"));
            let display = display::read("ring24", &text)?;
            for (start, word) in [(Start::Cold, "cold"), (Start::Warm, "warm")] {
                let name = song.file_stem().unwrap_or_default().to_string_lossy();
                let label = format!("{name} | {word} | {pwm}");
                table(song, &label, &job(&mapping, &display, start, rate))?;
            }
        }
    }
    Ok(())
}

fn job<'a>(mapping: &'a Mapping, display: &'a Display, start: Start, rate: Rate) -> RenderJob<'a> {
    RenderJob { mapping, display, rate, start, arith: Arith::Native }
}

/// What came of a song under one rule.
struct Came {
    all: Gained,
    coils: Vec<CoilGained>,
    peaks: Option<[f64; 2]>,
    time_s: f64,
    /// The most energy that heat and wishes allow, J.
    most_j: f64,
}

fn table(song: &Path, label: &str, job: &RenderJob<'_>) -> Result<(), Box<dyn Error>> {
    let alone = by_engine(song, job, 0.0)?;
    let second = |[_, clamped]: [f64; 2]| [clamped; 2];
    let held = |coil: &CoilGained| CoilGained { likeness: second(coil.likeness), ..*coil };
    let clamped = Came {
        all: Gained {
            energy_j: second(alone.all.energy_j),
            motion_s: second(alone.all.motion_s),
            likeness: second(alone.all.likeness),
        },
        coils: alone.coils.iter().map(held).collect(),
        peaks: None,
        ..alone
    };
    let plain_s = alone.time_s;
    line(label, "clamp", &clamped, None);
    line(label, "limiter", &alone, Some(plain_s));
    line(label, "rider", &by_engine(song, job, 60.0)?, Some(plain_s));
    let folder = tempfile::tempdir()?;
    let out = folder.path().join("a.duty");
    let knowing = coilscore::analysis::Knowing::Nothing;
    let before = Instant::now();
    let source = coilscore::audio::file::open(song)?;
    let piece = Piece { open: Box::new(|| Ok(source)), knowing, out };
    let planned = render_planned(vec![piece], job, &mut |_, _| Flow::Continue(()))?;
    let came = Came {
        time_s: before.elapsed().as_secs_f64(),
        peaks: planned.songs.first().map(|song| [song.peak_coil_c, song.peak_backing_c]),
        all: planned.plan.all,
        coils: planned.plan.coils,
        most_j: alone.most_j,
    };
    line(label, "plan", &came, Some(plain_s));
    let most = alone.most_j / alone.all.energy_j[1];
    println!("{label} | at most | - | - | {most:.2} | - | - | - | -");
    Ok(())
}

fn line(label: &str, rule: &str, came: &Came, plain_s: Option<f64>) {
    let times = |[granted, clamped]: [f64; 2]| granted / clamped;
    let peaks = came.peaks.filter(|_| plain_s.is_some());
    let peaks = peaks.map_or("- | -".into(), |[coil, backing]| format!("{coil:.1} | {backing:.1}"));
    let least = came.coils.iter().map(|coil| coil.likeness[0]).fold(1.0, f64::min);
    let time = plain_s.map_or("-".into(), |plain_s| format!("{:.1}", came.time_s / plain_s));
    println!(
        "{label} | {rule} | {peaks} | {:.2} | {:.2} | {:.3} | {least:.3} | {time}",
        times(came.all.energy_j),
        times(came.all.motion_s),
        came.all.likeness[0]
    );
}

/// The song through an engine that looks so far ahead, s.
fn by_engine(song: &Path, job: &RenderJob<'_>, ride_s: f64) -> Result<Came, Box<dyn Error>> {
    let before = Instant::now();
    let mut source = coilscore::audio::file::open(song)?;
    let sound: SoundFormat = source.format();
    let (mut settings, _) =
        prepare(job.mapping, job.display, sound, job.rate, job.start.clone(), job.arith)?;
    settings.budget.ride = Seconds(ride_s);
    let steps = settings.budget.coils.iter().map(|coil| coil.steps);
    let clamp = Clamp::new(&settings.budget)?;
    let frame_s = job.rate.period().0;
    let mut tally = Tally::new(clamp.clone(), steps, frame_s);
    let mut engine = Engine::new(&settings)?;
    let (mut peaks, mut wished_j, mut span_s) = ([0.0_f64; 2], 0.0, 0.0);
    while let Some(block) = source.next_block()? {
        let mut rest: SampleBlock<'_> = block;
        while let (left, Some(step)) = engine.step(rest) {
            tally.add(step.wishes, step.budget);
            let (windings, others) = step.load.node_c.split_at(step.duties.len());
            let hottest = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
            let backings = others.get(..step.duties.len()).unwrap_or(others);
            peaks = [peaks[0].max(hottest(windings)), peaks[1].max(hottest(backings))];
            for (coil, wish) in step.wishes.iter().enumerate() {
                let share = clamp.heat(coil, clamp.size(coil, *wish));
                wished_j += share * clamp.full_w(coil) * frame_s;
            }
            span_s += frame_s;
            rest = left;
        }
    }
    let room = heat_room(&settings.budget, engine.budget().bound_c(), span_s);
    Ok(Came {
        all: tally.gained(),
        coils: tally.coils().collect(),
        peaks: Some(peaks),
        time_s: before.elapsed().as_secs_f64(),
        most_j: wished_j.min(room),
    })
}

/// The heat that all nodes together can take from their start up to their bounds, and pass on while they
/// stand there, in J of copper at room temperature. (For displays without an enclosure.)
fn heat_room(budget: &BudgetSettings, bound_c: &[f64], span_s: f64) -> f64 {
    let room_c = budget.room.0;
    let coils = budget.coils.len();
    let mut sum_j = 0.0;
    for (coil, (winding_c, backing_c)) in
        budget.coils.iter().zip(bound_c.iter().zip(bound_c.iter().skip(coils)))
    {
        let rises = [winding_c - room_c, backing_c - room_c];
        let start = if budget.start == Start::Warm { rises[0].min(rises[1]) } else { 0.0 };
        let stored = coil.heat.coil.0 * (rises[0] - start)
            + coil.heat.backing.0 * if start > 0.0 { 0.0 } else { rises[1] };
        let passed =
            rises[1] / coil.heat.backing_to_around.0 + rises[0] / coil.heat.coil_to_around.0;
        // A warm winding takes less at the same duty, and the model counts it with its factor.
        let warm = (COPPER_K_C + winding_c) / (COPPER_K_C + room_c);
        sum_j += (stored + passed * span_s) * warm / coil.power_scale;
    }
    sum_j
}
