//! Sounds by formula, and ears put to them.

use coilscore::analysis::{
    Analysis, AnalysisSettings, Arith, EarRequest, Knowing, Sense, SongFacts,
};
use coilscore::audio::{SampleBlock, SoundError, SoundFormat, Source};
use coilscore::units::Rate;
use std::f64::consts::TAU;
use std::sync::Arc;

pub(crate) const RATE_HZ: u32 = 48_000;
pub(crate) const FRAMES_PER_S: f64 = 200.0;

/// Stereo, both channels alike.
pub(crate) fn stereo(seconds: f64, at: impl Fn(f64) -> f64) -> Vec<f32> {
    let instants = (seconds * f64::from(RATE_HZ)).round() as u32;
    (0..instants).flat_map(|n| [at(f64::from(n) / f64::from(RATE_HZ)) as f32; 2]).collect()
}

pub(crate) fn sine(hz: f64, dbfs: f64) -> impl Fn(f64) -> f64 {
    move |t| 10.0_f64.powf(dbfs / 20.0) * (TAU * hz * t).sin()
}

/// A stroke: a sine that begins at once and dies away.
pub(crate) fn stroke(t: f64, hz: f64, falls_s: f64) -> f64 {
    if t < 0.0 { 0.0 } else { (-t / falls_s).exp() * (TAU * hz * t).sin() }
}

/// The same noise every time, -1 to 1.
pub(crate) fn noise(n: u32) -> f64 {
    let mut x = n.wrapping_mul(0x9E37_79B9) ^ 0x85EB_CA6B;
    x = (x ^ (x >> 16)).wrapping_mul(0x21F0_AAAD);
    x = (x ^ (x >> 15)).wrapping_mul(0x735A_2D97);
    f64::from(x ^ (x >> 15)) / f64::from(u32::MAX) * 2.0 - 1.0
}

pub(crate) fn format() -> SoundFormat {
    SoundFormat { rate_hz: RATE_HZ, channels: 2 }
}

pub(crate) fn settings(ears: &[EarRequest], knowing: Knowing) -> AnalysisSettings {
    AnalysisSettings {
        sound: format(),
        frame_rate: Rate::new(200, 1).unwrap(),
        bands: vec![],
        ears: ears.to_vec(),
        knowing,
        quiet_dbfs: Some(-80.0),
        arith: Arith::Portable,
    }
}

/// Senses of every frame, frame 0 first.
pub(crate) fn hear(sound: &[f32], ears: &[EarRequest], knowing: Knowing) -> Vec<Vec<Sense>> {
    in_chunks(sound, ears, knowing, usize::MAX)
}

pub(crate) fn in_chunks(
    sound: &[f32],
    ears: &[EarRequest],
    knowing: Knowing,
    chunk: usize,
) -> Vec<Vec<Sense>> {
    let mut analysis = Analysis::new(&settings(ears, knowing)).unwrap();
    let mut all = vec![analysis.measure().senses.to_vec()];
    for frame in sound.chunks_exact(2 * (f64::from(RATE_HZ) / FRAMES_PER_S) as usize) {
        for part in frame.chunks(2 * chunk.min(frame.len())) {
            analysis.push(SampleBlock::new(part, 2).unwrap());
        }
        all.push(analysis.measure().senses.to_vec());
    }
    all
}

/// Frame times at which the first ear was struck, with strength.
pub(crate) fn strikes(frames: &[Vec<Sense>]) -> Vec<(f64, f32)> {
    let struck = |(frame, senses): (usize, &Vec<Sense>)| match senses[0] {
        Sense::Struck(strength) if strength > 0.0 => Some((frame as f64 / FRAMES_PER_S, strength)),
        _ => None,
    };
    frames.iter().enumerate().filter_map(struck).collect()
}

/// A song that is known beforehand.
pub(crate) fn known(sound: &[f32]) -> SongFacts {
    let mut song = Song { sound: sound.to_vec(), at: 0 };
    coilscore::analysis::ears::measure_song(&mut song, Arith::Portable, &mut |_| true).unwrap()
}

pub(crate) fn knowing(sound: &[f32]) -> Knowing {
    Knowing::Song(Arc::new(known(sound)))
}

struct Song {
    sound: Vec<f32>,
    at: usize,
}

impl Source for Song {
    fn format(&self) -> SoundFormat {
        format()
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let end = (self.at + 8192).min(self.sound.len());
        let block = &self.sound[self.at..end];
        self.at = end;
        Ok((!block.is_empty()).then(|| SampleBlock::new(block, 2).unwrap()))
    }
}
