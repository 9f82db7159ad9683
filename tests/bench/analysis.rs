//! Cost of the analysis per second of sound, beside the bare transforms it is made of.
//!
//! `cargo bench --bench analysis`. Compare the rows of one run with each other: the machine's
//! speed cancels out of the ratio.

#![allow(clippy::unwrap_used, reason = "a bench stops at the first surprise")]

use coilscore::analysis::scale::Scale;
use coilscore::analysis::{
    Analysis, AnalysisSettings, Arith, BandRequest, Channel, Knowing, Weighting,
};
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::units::{Hertz, Rate};
use divan::Bencher;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

fn main() {
    divan::main();
}

const FRAMES: usize = 200;

/// Eight octaves and two narrow bands: all six windows are at work.
fn bands(channel: Channel, weighting: Weighting) -> Vec<BandRequest> {
    let octaves = Scale::Octave.bands(63.0, 8000.0);
    let edges = octaves.iter().map(|octave| (octave.low_hz, octave.high_hz));
    let narrow = [(700.0, 850.0), (4000.0, 4700.0)].map(|(low, high)| (Hertz(low), Hertz(high)));
    let band = |(low_hz, high_hz)| BandRequest { low_hz, high_hz, channel, weighting };
    edges.chain(narrow).map(band).collect()
}

fn second_of_sound(bencher: Bencher<'_, '_>, rate_hz: u32, channel: Channel, arith: Arith) {
    second_of(bencher, rate_hz, bands(channel, Weighting::None), arith);
}

fn second_of(bencher: Bencher<'_, '_>, rate_hz: u32, bands: Vec<BandRequest>, arith: Arith) {
    let settings = AnalysisSettings {
        sound: SoundFormat { rate_hz, channels: 2 },
        frame_rate: Rate::new(200, 1).unwrap(),
        bands,
        ears: vec![],
        knowing: Knowing::Nothing,
        quiet_dbfs: None,
        arith,
    };
    let mut analysis = Analysis::new(&settings).unwrap();
    let samples: Vec<f32> =
        (0..2 * rate_hz).map(|n| ((n * 7919) % 2000) as f32 / 1000.0 - 1.0).collect();
    let second = SampleBlock::new(&samples, 2).unwrap();
    bencher.bench_local(move || {
        let mut rest = second;
        for frame in 1..=FRAMES {
            let here = (rate_hz as usize * frame).div_ceil(FRAMES)
                - (rate_hz as usize * (frame - 1)).div_ceil(FRAMES);
            let (head, tail) = rest.split_at(here);
            analysis.push(head);
            divan::black_box(analysis.measure());
            rest = tail;
        }
    });
}

/// The standard of comparison: three transforms of 512 and three of 256 points a frame.
#[divan::bench]
fn six_bare_transforms(bencher: Bencher<'_, '_>) {
    let mut planner = FftPlanner::<f32>::new();
    let plans = [512, 512, 512, 256, 256, 256].map(|len| planner.plan_fft_forward(len));
    let mut bins = vec![Complex32::new(0.5, -0.25); 512];
    let mut scratch = vec![Complex32::default(); 512];
    bencher.bench_local(move || {
        for _ in 0..FRAMES {
            for plan in &plans {
                let room = plan.get_inplace_scratch_len();
                if let (Some(bins), Some(scratch)) =
                    (bins.get_mut(..plan.len()), scratch.get_mut(..room))
                {
                    plan.process_with_scratch(bins, scratch);
                    bins.fill(Complex32::new(0.5, -0.25));
                }
            }
        }
    });
}

#[divan::bench(args = [22_050, 44_100, 48_000, 96_000, 192_000])]
fn stereo_all(bencher: Bencher<'_, '_>, rate_hz: u32) {
    second_of_sound(bencher, rate_hz, Channel::All, Arith::Native);
}

#[divan::bench]
fn stereo_side(bencher: Bencher<'_, '_>) {
    second_of_sound(bencher, 44_100, Channel::Side, Arith::Native);
}

#[divan::bench]
fn stereo_all_portable(bencher: Bencher<'_, '_>) {
    second_of_sound(bencher, 44_100, Channel::All, Arith::Portable);
}

#[divan::bench]
fn stereo_all_a_weighted(bencher: Bencher<'_, '_>) {
    second_of(bencher, 44_100, bands(Channel::All, Weighting::A), Arith::Native);
}
