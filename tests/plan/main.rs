//! Songs planned as a whole and sound that is ridden: the shape stays, the heat is used, no limit is
//! passed, and the same comes out every time.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    dead_code,
    reason = "tests stop at the first surprise; the plant serves other tests as well"
)]

mod bound;
#[path = "../common/mod.rs"]
mod common;
mod files;
mod judged;
#[path = "../budget_limits/plant.rs"]
mod plant;
mod program;
mod ridden;

use std::path::Path;

use coilscore::analysis::Arith;
use coilscore::analysis::Knowing;
use coilscore::audio::Source;
use coilscore::audio::tone::{Samples, pink_noise};
use coilscore::budget::Start;
use coilscore::frame::record::Entry;
use coilscore::frame::{Head, Tail};
use coilscore::preset::{Display, Mapping};
use coilscore::run::plan::{Piece, Planned};
use coilscore::run::{Flow, RenderJob, render_planned};
use coilscore::sink::file::open;
use coilscore::units::Rate;

pub(crate) const SOUND_HZ: u32 = 8_000;
pub(crate) const RATE: u32 = 50;

/// Bursts of noise, three soft and one loud, twice a second: music enough to have a shape that a
/// limiter can flatten.
pub(crate) fn bursts(seconds: usize) -> Vec<f32> {
    let loud = [0.5, 0.05, 0.1, 0.02];
    let quarter = SOUND_HZ as usize / 4;
    let noise = pink_noise(11, 0.3, seconds * SOUND_HZ as usize);
    let shaped = noise.iter().enumerate().map(|(n, sample)| {
        let within = (n % quarter) as f32 / quarter as f32;
        sample * loud[n / quarter % 4] * (1.0 - within)
    });
    shaped.collect()
}

pub(crate) fn job<'a>(mapping: &'a Mapping, display: &'a Display, start: Start) -> RenderJob<'a> {
    let rate = Rate::new(RATE, 1).unwrap();
    RenderJob { mapping, display, rate, start, arith: Arith::Portable }
}

/// A song in blocks of this many instants.
pub(crate) fn piece(sound: Vec<f32>, block: usize, out: &Path) -> Piece {
    let source = source(sound, block);
    Piece { open: Box::new(|| Ok(source)), knowing: Knowing::Nothing, out: out.to_path_buf() }
}

pub(crate) fn source(sound: Vec<f32>, block: usize) -> Box<dyn Source + Send> {
    Box::new(Samples::mono(SOUND_HZ, sound).in_blocks(&[block]))
}

pub(crate) fn planned(pieces: Vec<Piece>, job: &RenderJob<'_>) -> Planned {
    render_planned(pieces, job, &mut |_, _| Flow::Continue(())).unwrap()
}

/// All that a file holds.
pub(crate) fn read(path: &Path) -> (Head, Vec<Vec<i32>>, Tail) {
    let mut file = open(path).unwrap();
    let mut frames = Vec::new();
    while let Some(entry) = file.next_entry().unwrap() {
        if let Entry::Duty { codes, .. } = entry {
            frames.push(codes.iter().map(|code| code.0).collect());
        }
    }
    assert!(file.is_whole(), "{:?}", file.damage());
    (file.head().clone(), frames, file.tail().unwrap().clone())
}
