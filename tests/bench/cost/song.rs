//! A whole song: every task beside decoding it and transforming it, and nothing else.

use std::hint::black_box;
use std::path::Path;

use coilscore::analysis::onset::Hearing;
use coilscore::analysis::{Arith, Knowing};
use coilscore::audio::demo::DemoSong;
use coilscore::audio::edges::FrameEdges;
use coilscore::audio::file::open;
use coilscore::audio::{SoundFormat, Source};
use coilscore::budget::Start;
use coilscore::preset::{Display, Mapping, load_display, load_mapping};
use coilscore::run::events::listen;
use coilscore::run::plan::{Piece, render_planned};
use coilscore::run::pump::Flow;
use coilscore::run::render::{RenderJob, render};
use coilscore::units::Rate;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

use super::clock::{Timed, in_turns};

/// How often the song of the program's own is repeated: some two minutes.
const TIMES: usize = 4;
const ROUNDS: u32 = 5;
/// Frames per second.
const RATE: u32 = 200;
/// Transforms per frame, as the analysis takes them.
const LENGTHS: [usize; 6] = [512, 512, 512, 256, 256, 256];

/// A task and what it costs.
pub(crate) struct Row {
    pub(crate) name: &'static str,
    pub(crate) cpu_s: f64,
}

/// Measures all tasks on one song; prints the table, and gives minutes of sound and rows.
pub(crate) fn print(song: &Path) -> (f64, Vec<Row>) {
    let (ring, grid) = (pair("demo", "ring24"), pair("ripples", "grid256"));
    let out = song.with_extension("duty");
    let out = out.as_path();
    let listened = |hearing| {
        move || drop(black_box(listen(&mut *open(song).unwrap(), hearing, Arith::Native, &mut go)))
    };
    let mut tasks = vec![
        ("decoding and six transforms a frame", 0, Timed::new(|| bare(song))),
        ("events as live", 0, Timed::new(listened(Hearing::AsLive))),
        ("events of the whole song", 0, Timed::new(listened(Hearing::WholeSong))),
    ];
    for (name, pair, coils, planned) in [
        ("render --no-plan", &ring, 24, false),
        ("render", &ring, 24, true),
        ("render --no-plan", &grid, 256, false),
        ("render", &grid, 256, true),
    ] {
        tasks.push((name, coils, Timed::new(move || rendered(song, pair, planned, out))));
    }
    let (names, mut tasks): (Vec<_>, Vec<_>) =
        tasks.into_iter().map(|(name, coils, timed)| ((name, coils), timed)).unzip();
    in_turns(ROUNDS, &mut tasks);

    let minutes = minutes(song);
    let plain_s = tasks[0].least_s;
    println!(
        "a song of {minutes:.1} min, {RATE} frames/s          of the plain task   CPU s a minute   beyond it, ns a coil-frame"
    );
    let mut rows = Vec::new();
    for ((name, coils), timed) in names.into_iter().zip(&tasks) {
        let cpu_s = timed.least_s;
        let on = if coils > 0 { format!("{name}, {coils} coils") } else { name.to_owned() };
        print!("  {on:<38} {:>17.2} {:>16.3}", cpu_s / plain_s, cpu_s / minutes);
        if coils > 0 {
            let coil_frames = minutes * 60.0 * f64::from(RATE) * coils as f64;
            print!(" {:>28.0}", (cpu_s - plain_s) / coil_frames * 1e9);
        }
        println!();
        rows.push(Row { name, cpu_s });
    }
    (minutes, rows)
}

/// Writes the song as 16-bit WAV, over and over.
pub(crate) fn write(song: &Path) {
    let SoundFormat { rate_hz, channels } = DemoSong::new().format();
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(song, spec).unwrap();
    for _ in 0..TIMES {
        let mut source = DemoSong::new();
        while let Some(block) = source.next_block().unwrap() {
            for sample in block.interleaved() {
                let code = (sample.clamp(-1.0, 1.0) * 32_767.0) as i16;
                file.write_sample(code).unwrap();
            }
        }
    }
    file.finalize().unwrap();
}

fn go(_: u64) -> Flow {
    Flow::Continue(())
}

fn minutes(song: &Path) -> f64 {
    let source = open(song).unwrap();
    source.expected_instants().unwrap() as f64 / f64::from(source.format().rate_hz) / 60.0
}

fn pair(mapping: &str, display: &str) -> (Mapping, Display) {
    let presets = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let mapping = load_mapping(&presets.join(mapping).with_extension("toml")).unwrap();
    let display = presets.join("displays").join(display).with_extension("toml");
    (mapping, load_display(&display).unwrap())
}

fn rendered(song: &Path, (mapping, display): &(Mapping, Display), planned: bool, out: &Path) {
    let rate = Rate::new(RATE, 1).unwrap();
    let job = RenderJob { mapping, display, rate, start: Start::Cold, arith: Arith::Native };
    let source = open(song).unwrap();
    if planned {
        let piece =
            Piece { open: Box::new(|| Ok(source)), knowing: Knowing::Nothing, out: out.to_owned() };
        black_box(render_planned(vec![piece], &job, &mut |_, _| Flow::Continue(())).unwrap());
    } else {
        black_box(render(source, &job, out, &mut go).unwrap());
    }
}

/// The plain task: the same decoder, and at every frame edge the newest sound under a window
/// through as many transforms as the analysis takes, both channels in one; nothing is made of them.
fn bare(song: &Path) {
    let mut source = open(song).unwrap();
    let sound = source.format();
    let stereo = usize::from(sound.channels);
    let edges = FrameEdges::new(sound, Rate::new(RATE, 1).unwrap());
    let mut planner = FftPlanner::<f32>::new();
    let plans = LENGTHS.map(|length| planner.plan_fft_forward(length));
    let window = |length: usize| -> Vec<f32> {
        let turn = |n: usize| std::f32::consts::TAU * n as f32 / length as f32;
        (0..length).map(|n| 0.5 - 0.5 * libm::cosf(turn(n))).collect()
    };
    let windows = LENGTHS.map(window);
    let mut bins = vec![Complex32::default(); 512];
    let room = plans.iter().map(|plan| plan.get_inplace_scratch_len()).max().unwrap();
    let mut scratch = vec![Complex32::default(); room];
    let mut heard: Vec<f32> = vec![0.0; 512 * stereo];
    let (mut instants, mut frame) = (0_u64, 0_u64);
    while let Some(block) = source.next_block().unwrap() {
        heard.drain(..heard.len() - 512 * stereo);
        heard.extend_from_slice(block.interleaved());
        let began = instants;
        instants += block.instants() as u64;
        while edges.edge(frame) <= instants {
            let end = (512 + (edges.edge(frame) - began) as usize) * stereo;
            for (plan, window) in plans.iter().zip(&windows) {
                let newest = heard[end - window.len() * stereo..end].chunks_exact(stereo);
                for ((bin, both), weight) in bins.iter_mut().zip(newest).zip(window) {
                    *bin = Complex32::new(both[0] * weight, both[stereo - 1] * weight);
                }
                plan.process_with_scratch(&mut bins[..window.len()], &mut scratch);
                black_box(&bins);
            }
            frame += 1;
        }
    }
}
