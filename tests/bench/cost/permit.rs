//! The budget alone: time per coil and frame, beside a transform of 512 points.

use std::hint::black_box;
use std::path::Path;

use coilscore::analysis::Arith;
use coilscore::audio::SoundFormat;
use coilscore::budget::{Budget, BudgetSettings, PullRange, Start};
use coilscore::preset::{load_display, load_mapping, prepare};
use coilscore::units::{Rate, Share};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

use super::clock::{Timed, in_turns};
use super::common::lay_law;

/// Frames per round, and rounds.
const FRAMES: usize = 2000;
const ROUNDS: u32 = 15;

/// What the wishes are like.
#[derive(Clone, Copy)]
enum Wishes {
    /// Music that the display stands: every coil moves, nothing is cut.
    Fits,
    /// One coil in five moves, the others rest.
    Sparse,
    /// All coils full: heat cuts all, and rails are short.
    Full,
}

impl Wishes {
    /// A second of them, over and over.
    fn second(self, coils: usize) -> Vec<Vec<Share>> {
        let wish = |frame: usize, coil: usize| match self {
            Self::Full => 1.0,
            Self::Sparse if !coil.is_multiple_of(5) => 0.0,
            _ => ((coil * 37 + frame * 11) % 200) as f64 / 1000.0,
        };
        let frame = |frame| (0..coils).map(|coil| Share::saturating(wish(frame, coil))).collect();
        (0..200).map(frame).collect()
    }
}

/// The shipped display of 256 coils on bridges, with four supplies and an enclosure.
fn grid() -> BudgetSettings {
    let presets = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let mapping = load_mapping(&presets.join("ripples.toml")).unwrap();
    let display = load_display(&presets.join("displays/grid256.toml")).unwrap();
    let sound = SoundFormat { rate_hz: 44_100, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    let ready = prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Native);
    ready.unwrap().0.budget
}

pub(crate) fn print() {
    let plain = BudgetSettings { start: Start::Warm, ..grid() };
    let mut pull = plain.clone();
    lay_law(&mut pull, PullRange::Held { margin: 0.1, at: 0.5 });
    let cases = [
        ("wishes that fit", &plain, Wishes::Fits),
        ("one coil in five at work", &plain, Wishes::Sparse),
        ("all coils cut", &plain, Wishes::Full),
        ("pull", &pull, Wishes::Fits),
    ];
    let mut tasks: Vec<Timed<'_>> = Vec::new();
    tasks.push(Timed::new(transforms()));
    for (_, settings, wishes) in &cases {
        let mut budget = Budget::new(settings).unwrap();
        let second = wishes.second(settings.coils.len());
        tasks.push(Timed::new(move || {
            for frame in 0..FRAMES {
                black_box(budget.permit(&second[frame % second.len()]));
            }
        }));
    }
    in_turns(ROUNDS, &mut tasks);
    let transform_s = tasks[0].least_s / FRAMES as f64;
    println!("permit, 256 coils at 200 frames/s     ns a coil-frame    of a 512-point transform");
    for ((name, settings, _), timed) in cases.iter().zip(&tasks[1..]) {
        let coil_frame_s = timed.least_s / (FRAMES * settings.coils.len()) as f64;
        println!("  {name:<30} {:>17.1} {:>27.4}", coil_frame_s * 1e9, coil_frame_s / transform_s);
    }
    println!("  one 512-point transform: {:.0} ns", transform_s * 1e9);
}

/// One complex transform of 512 points per frame.
fn transforms() -> impl FnMut() {
    let plan = FftPlanner::<f32>::new().plan_fft_forward(512);
    let start = vec![Complex32::new(0.5, -0.25); 512];
    let mut bins = start.clone();
    let mut scratch = vec![Complex32::default(); plan.get_inplace_scratch_len()];
    move || {
        for _ in 0..FRAMES {
            bins.copy_from_slice(&start);
            plan.process_with_scratch(&mut bins, &mut scratch);
            black_box(&bins);
        }
    }
}
