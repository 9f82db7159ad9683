//! One second of a show in numbers.

use serde::Serialize;

use crate::audio::SampleBlock;
use crate::engine::Step;
use crate::frame::Hands;
use crate::units::Rate;

/// From this size on a sample counts as clipped: the largest value of a 16-bit input, less a hair.
const CLIPPED: f32 = 0.9999;

/// Level of silence, dBFS.
const SILENCE_DBFS: f64 = -160.0;

/// How long the engine worked on its frames, microseconds.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Times {
    /// Half of them took less.
    pub median_us: f64,
    /// All but one in a hundred took less.
    pub p99_us: f64,
    /// None took longer.
    pub max_us: f64,
}

/// The winding with the least room left.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Hottest {
    /// Coil number, from 0.
    pub coil: u32,
    /// Kelvins to its bound.
    pub headroom_k: f64,
    /// Its temperature, C.
    pub now_c: f64,
}

/// What the last second of a show was like.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Snapshot {
    /// Number of the last frame.
    pub frame: u32,
    /// Instants heard since the start.
    pub instants: u64,
    /// Level, dBFS: a full-scale sine reads 0 (AES17).
    pub level_dbfs: f64,
    /// Highest sample, dB below full scale.
    pub peak_dbfs: f64,
    /// Samples at full scale.
    pub clipped: u64,
    /// True when the sound counts as quiet.
    pub quiet: bool,
    /// Engine time per frame.
    pub engine: Times,
    /// The winding with the least room left.
    pub hottest: Hottest,
    /// Mean of what was asked, in coils.
    pub asked_coils: f64,
    /// Mean of what was granted, in coils.
    pub granted_coils: f64,
    /// What hands have set.
    pub hands: Hands,
}

/// Collects a second. Takes memory in [`Tally::new`] only.
#[derive(Debug)]
pub(super) struct Tally {
    every: usize,
    times_ns: Vec<u64>,
    bound_c: Box<[f64]>,
    coils: usize,
    instants: u64,
    squares: f64,
    samples: u64,
    peak: f32,
    clipped: u64,
    asked: f64,
    granted: f64,
}

impl Tally {
    /// For a frame rate, and the bounds of all nodes, of which the first `coils` are windings.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "frame rates are 1 to 1000"
    )]
    pub(super) fn new(rate: Rate, bound_c: &[f64], coils: usize) -> Self {
        let every = rate.per_second().round().max(1.0) as usize;
        Self {
            every,
            times_ns: Vec::with_capacity(every),
            bound_c: bound_c.into(),
            coils,
            instants: 0,
            squares: 0.0,
            samples: 0,
            peak: 0.0,
            clipped: 0,
            asked: 0.0,
            granted: 0.0,
        }
    }

    /// Takes a block in.
    pub(super) fn heard(&mut self, block: SampleBlock<'_>) {
        self.instants += block.instants() as u64;
        self.samples += block.interleaved().len() as u64;
        for &sample in block.interleaved() {
            let size = sample.abs();
            self.peak = self.peak.max(size);
            self.clipped += u64::from(size >= CLIPPED);
            self.squares += f64::from(sample) * f64::from(sample);
        }
    }

    /// Takes a frame in; a snapshot when the second is full.
    pub(super) fn frame(
        &mut self,
        step: &Step<'_>,
        took_ns: u64,
        hands: Hands,
    ) -> Option<Snapshot> {
        self.times_ns.push(took_ns);
        self.asked += step.load.wished;
        self.granted += step.load.granted;
        (self.times_ns.len() >= self.every).then(|| self.close(step, hands))
    }

    fn close(&mut self, step: &Step<'_>, hands: Hands) -> Snapshot {
        let frames = self.times_ns.len() as f64;
        let mean_square = self.squares / self.samples.max(1) as f64;
        let snapshot = Snapshot {
            frame: step.number,
            instants: self.instants,
            level_dbfs: db(2.0 * mean_square, 10.0),
            peak_dbfs: db(f64::from(self.peak), 20.0),
            clipped: self.clipped,
            quiet: step.heard.quiet,
            engine: times(&mut self.times_ns),
            hottest: self.hottest(step.load.node_c),
            asked_coils: self.asked / frames,
            granted_coils: self.granted / frames,
            hands,
        };
        self.times_ns.clear();
        (self.squares, self.samples, self.peak, self.clipped) = (0.0, 0, 0.0, 0);
        (self.asked, self.granted) = (0.0, 0.0);
        snapshot
    }

    fn hottest(&self, node_c: &[f64]) -> Hottest {
        let coils = (0..).zip(node_c.iter().zip(&self.bound_c)).take(self.coils);
        let each = coils.map(|(coil, (&now_c, bound_c))| Hottest {
            coil,
            headroom_k: bound_c - now_c,
            now_c,
        });
        each.min_by(|a, b| a.headroom_k.total_cmp(&b.headroom_k)).unwrap_or_default()
    }
}

fn db(value: f64, factor: f64) -> f64 {
    (factor * libm::log10(value)).max(SILENCE_DBFS)
}

/// Sorts in place: no memory.
fn times(times_ns: &mut [u64]) -> Times {
    times_ns.sort_unstable();
    let last = times_ns.len().saturating_sub(1);
    let at = |per_cent: usize| {
        let index = (last * per_cent).div_ceil(100);
        times_ns.get(index).copied().unwrap_or(0) as f64 / 1000.0
    };
    Times { median_us: at(50), p99_us: at(99), max_us: at(100) }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "the ends are exact")]
mod tests {
    use super::*;

    #[test]
    fn times_are_ranks_of_what_was_measured() {
        let mut ns: Vec<u64> = (1..=200).rev().map(|n| n * 1000).collect();
        let times = times(&mut ns);
        assert_eq!((times.median_us, times.p99_us, times.max_us), (101.0, 199.0, 200.0));
        assert_eq!(super::times(&mut []), Times::default());
    }

    #[test]
    fn levels_read_as_the_standard_says() {
        // AES17: a sine that reaches full scale reads 0 dBFS.
        assert!(db(2.0 * 0.5, 10.0).abs() < 1e-12);
        assert!((db(0.5, 20.0) - -6.0206).abs() < 1e-4);
        assert_eq!(db(0.0, 10.0), SILENCE_DBFS);
    }
}
