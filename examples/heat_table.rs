//! What heat leaves of a song, by four rules: a fixed clamp, the limiter alone, the rider with the
//! limiter behind it (as live), and the plan with the limiter behind it (files).
//!
//! `cargo run --release --example heat_table -- SONG...` renders every song on the display of 24 coils
//! with the demo mapping, from cold and from warm, with slow and with fast PWM, and prints a line for
//! each rule: hottest winding and backing, energy and motion as multiples of the clamp's, and
//! how alike wishes and duties move.
#![allow(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "an example prints, and reads files"
)]

use std::error::Error;
use std::path::{Path, PathBuf};

use coilscore::analysis::Arith;
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::{Clamp, Start};
use coilscore::engine::Engine;
use coilscore::frame::Gained;
use coilscore::preset::{Display, Mapping, display, load_mapping, prepare};
use coilscore::run::plan::{Piece, Tally};
use coilscore::run::{Flow, RenderJob, render_planned};
use coilscore::units::{Rate, Seconds};

const DISPLAY: &str = include_str!("../presets/displays/ring24.toml");

fn main() -> Result<(), Box<dyn Error>> {
    let songs: Vec<PathBuf> = std::env::args_os().skip(1).map(PathBuf::from).collect();
    let presets = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let mapping = load_mapping(&presets.join("demo.toml"))?;
    let rate = Rate::new(200, 1).ok_or("200 frames a second")?;
    println!("song | start | PWM | rule | winding C | backing C | energy | motion | likeness");
    println!("--- | --- | --- | --- | --- | --- | --- | --- | ---");
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

fn table(song: &Path, label: &str, job: &RenderJob<'_>) -> Result<(), Box<dyn Error>> {
    let (alone, peaks) = by_engine(song, job, 0.0)?;
    let clamped = Gained {
        energy_j: [alone.energy_j[1]; 2],
        motion_s: [alone.motion_s[1]; 2],
        likeness: [alone.likeness[1]; 2],
    };
    line(label, "clamp", None, &clamped);
    line(label, "limiter", Some(peaks), &alone);
    let (ridden, peaks) = by_engine(song, job, 60.0)?;
    line(label, "rider", Some(peaks), &ridden);
    let folder = tempfile::tempdir()?;
    let piece = Piece {
        source: coilscore::audio::file::open(song)?,
        knowing: coilscore::analysis::Knowing::Nothing,
        out: folder.path().join("a.duty"),
    };
    let planned = render_planned(vec![piece], job, &mut |_, _| Flow::Continue(()))?;
    let peaks = planned.songs.first().map(|song| [song.peak_coil_c, song.peak_backing_c]);
    line(label, "plan", peaks, &planned.plan.all);
    Ok(())
}

fn line(label: &str, rule: &str, peaks: Option<[f64; 2]>, gained: &Gained) {
    let times = |[granted, clamped]: [f64; 2]| granted / clamped;
    let peaks = peaks.map_or("- | -".into(), |[coil, backing]| format!("{coil:.1} | {backing:.1}"));
    println!(
        "{label} | {rule} | {peaks} | {:.2} | {:.2} | {:.3}",
        times(gained.energy_j),
        times(gained.motion_s),
        gained.likeness[0]
    );
}

/// The song through an engine that looks so far ahead, s.
fn by_engine(
    song: &Path,
    job: &RenderJob<'_>,
    ride_s: f64,
) -> Result<(Gained, [f64; 2]), Box<dyn Error>> {
    let mut source = coilscore::audio::file::open(song)?;
    let sound: SoundFormat = source.format();
    let (mut settings, _) =
        prepare(job.mapping, job.display, sound, job.rate, job.start.clone(), job.arith)?;
    settings.budget.ride = Seconds(ride_s);
    let steps = settings.budget.coils.iter().map(|coil| coil.steps);
    let mut tally = Tally::new(Clamp::new(&settings.budget)?, steps, job.rate.period().0);
    let mut engine = Engine::new(&settings)?;
    let mut peaks = [0.0_f64; 2];
    while let Some(block) = source.next_block()? {
        let mut rest: SampleBlock<'_> = block;
        while let (left, Some(step)) = engine.step(rest) {
            tally.add(step.wishes, step.budget);
            let (windings, others) = step.load.node_c.split_at(step.duties.len());
            let hottest = |list: &[f64]| list.iter().copied().fold(0.0, f64::max);
            let backings = others.get(..step.duties.len()).unwrap_or(others);
            peaks = [peaks[0].max(hottest(windings)), peaks[1].max(hottest(backings))];
            rest = left;
        }
    }
    Ok((tally.gained(), peaks))
}
