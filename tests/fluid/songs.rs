//! Songs by formula, with the times of their strokes.

use std::f64::consts::TAU;
use std::path::Path;

use coilscore::audio::file::save_wav;
use coilscore::audio::tone::Samples;

pub(crate) const RATE_HZ: u32 = 48_000;

/// A song of drums, and the times of its low strokes and of all its beats, s.
pub(crate) struct Song {
    pub(crate) samples: Vec<f32>,
    pub(crate) kicks_s: Vec<f64>,
    pub(crate) beats_s: Vec<f64>,
}

impl Song {
    pub(crate) fn save(&self, path: &Path) {
        save_wav(path, &mut Samples::new(RATE_HZ, 2, self.samples.clone()).unwrap()).unwrap();
    }
}

fn stroke(t: f64, hz: f64, falls_s: f64) -> f64 {
    (-t / falls_s).exp() * (TAU * hz * t).sin()
}

/// The same noise every time, -1 to 1.
fn noise(n: u32) -> f64 {
    let mut x = n.wrapping_mul(0x9E37_79B9) ^ 0x85EB_CA6B;
    x = (x ^ (x >> 16)).wrapping_mul(0x21F0_AAAD);
    x = (x ^ (x >> 15)).wrapping_mul(0x735A_2D97);
    f64::from(x ^ (x >> 15)) / f64::from(u32::MAX) * 2.0 - 1.0
}

/// Steady: a low stroke on every other beat, a higher one between, soft ticks twice a beat.
pub(crate) fn steady(beats_per_minute: f64, seconds: f64) -> Song {
    let beat_s = 60.0 / beats_per_minute;
    let at = |n: u32| {
        let t = f64::from(n) / f64::from(RATE_HZ);
        let (since, number) = (t.rem_euclid(beat_s), (t / beat_s).floor() as u32);
        let body = if number.is_multiple_of(2) {
            0.7 * stroke(since, 60.0, 0.07)
        } else {
            0.3 * stroke(since, 190.0, 0.05) + 0.3 * noise(n) * (-since / 0.05).exp()
        };
        body + 0.06 * noise(n) * (-t.rem_euclid(0.5 * beat_s) / 0.012).exp()
    };
    let instants = (seconds * f64::from(RATE_HZ)) as u32;
    let samples = (0..instants).flat_map(|n| [at(n) as f32; 2]).collect();
    let beats = (seconds / beat_s) as u32;
    let beats_s: Vec<f64> = (0..beats).map(|beat| f64::from(beat) * beat_s).collect();
    Song { samples, kicks_s: beats_s.iter().copied().step_by(2).collect(), beats_s }
}
