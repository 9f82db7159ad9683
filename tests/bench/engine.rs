//! Engine time per frame, as it is lived: sound comes in blocks, frames fall due at their edges.
//!
//! `cargo bench --bench engine`. Prints the distribution over a minute of sound and the share of
//! one core that it takes, for 24 and 256 coils at 200 frames a second.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a bench reads clocks and stops at the first surprise"
)]

use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use coilscore::analysis::Arith;
use coilscore::audio::noise::Pink;
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::budget::Start;
use coilscore::engine::Engine;
use coilscore::preset::{load_display, load_mapping, prepare};
use coilscore::units::Rate;

const RATE_HZ: u32 = 48_000;
const SECONDS: usize = 60;

/// Instants per block: what a sound server grants for 256.
const BLOCK: usize = 170;

fn main() {
    let instants = RATE_HZ as usize * SECONDS;
    let mut noise = [Pink::new(1, 0.2), Pink::new(2, 0.2)];
    // Loud and soft by turns, as music is.
    let loud = |n: usize| if (n / 12_000).is_multiple_of(3) { 1.0 } else { 0.1 };
    let samples: Vec<f32> = (0..2 * instants)
        .map(|n| (noise.get_mut(n % 2).unwrap().next_sample() * loud(n / 2)) as f32)
        .collect();
    for (mapping, display) in [("demo", "ring24"), ("ripples", "grid256")] {
        measure(mapping, display, &samples);
    }
}

fn measure(mapping: &str, display: &str, samples: &[f32]) {
    let presets = Path::new(env!("CARGO_MANIFEST_DIR")).join("presets");
    let mapping = load_mapping(&presets.join(mapping).with_extension("toml")).unwrap();
    let display = load_display(&presets.join("displays").join(display).with_extension("toml"));
    let display = display.unwrap();
    let sound = SoundFormat { rate_hz: RATE_HZ, channels: 2 };
    let rate = Rate::new(200, 1).unwrap();
    let ready = prepare(&mapping, &display, sound, rate, Start::Cold, Arith::Native);
    let (settings, _) = ready.unwrap();
    let mut engine = Engine::new(&settings).unwrap();
    let mut times = Vec::with_capacity(SECONDS * 200);
    let (mut worked, mut all) = (Duration::ZERO, Duration::ZERO);
    for block in samples.chunks(2 * BLOCK) {
        let mut rest = SampleBlock::new(block, 2).unwrap();
        loop {
            let began = Instant::now();
            let (left, step) = engine.step(rest);
            let made = black_box(step).is_some();
            let took = began.elapsed();
            worked += took;
            all += took;
            if !made {
                break;
            }
            times.push(worked);
            worked = Duration::ZERO;
            rest = left;
        }
    }
    times.sort();
    let last = times.len() - 1;
    let at = |per_mille: usize| times.get((last * per_mille).div_ceil(1000)).unwrap().as_secs_f64();
    println!(
        "{} coils: median {:.1} us, 99 % {:.1} us, 99.9 % {:.1} us, worst {:.1} us; {:.2} % of one \
         core",
        display.coil_count(),
        at(500) * 1e6,
        at(990) * 1e6,
        at(999) * 1e6,
        at(1000) * 1e6,
        all.as_secs_f64() / SECONDS as f64 * 100.0
    );
}
