//! The rates at which the sound is held, and the way of one pair of channels down to them.

use super::decimate::{BETWEEN_LEVELS, Decimator, Design, HALVE, QUARTER};
use super::inlet::{Inlet, Layout};
use super::meter::Meter;
use crate::audio::SampleBlock;

/// A sound above this rate is first brought to between half of it and this.
const HIGHEST_BASE_HZ: u32 = 64_000;
/// From this rate on the middle level has a quarter of the rate; below, the sound's own.
const LOWEST_DIVIDED_HZ: f64 = 32_000.0;

/// One of the three steps of the ladder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Level {
    Low,
    Middle,
    Top,
}

/// What becomes of a sound's rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rates {
    sound_hz: f64,
    front: Option<Design>,
}

impl Rates {
    pub(super) fn new(sound_hz: u32) -> Self {
        let front = match sound_hz {
            hz if hz <= HIGHEST_BASE_HZ => None,
            hz if hz <= 2 * HIGHEST_BASE_HZ => Some(HALVE),
            _ => Some(QUARTER),
        };
        Self { sound_hz: f64::from(sound_hz), front }
    }

    /// The highest rate at which the sound is held.
    pub(super) fn base_hz(self) -> f64 {
        self.sound_hz / self.front.map_or(1.0, |front| front.factor as f64)
    }

    /// Above this there is no sound, or none that the first filter leaves whole.
    pub(super) fn limit_hz(self) -> f64 {
        match self.front {
            None => 0.5 * self.sound_hz,
            Some(_) => 0.45 * self.base_hz(),
        }
    }

    /// How often the base rate is divided by four on the way to a level.
    pub(super) fn divisions(self, level: Level) -> usize {
        let whole = self.base_hz() < LOWEST_DIVIDED_HZ;
        match level {
            Level::Top => 0,
            Level::Middle => usize::from(!whole),
            Level::Low => 1 + usize::from(!whole),
        }
    }

    pub(super) fn rate_hz(self, level: Level) -> f64 {
        self.rate_after(self.divisions(level))
    }

    fn rate_after(self, divisions: usize) -> f64 {
        (0..divisions).fold(self.base_hz(), |rate, _| rate / BETWEEN_LEVELS.factor as f64)
    }

    /// Delay of the filters on the way to a level.
    pub(super) fn delay_s(self, level: Level) -> f64 {
        let front = self.front.map_or(0, Design::delay_samples) as f64 / self.sound_hz;
        let step = |n| BETWEEN_LEVELS.delay_samples() as f64 / self.rate_after(n);
        front + (0..self.divisions(level)).map(step).sum::<f64>()
    }
}

/// Longest run of instants taken in at once.
const PIECE: usize = 1024;

/// One pair of channels at every rate that some band needs.
#[derive(Debug, Clone)]
pub(super) struct Ladder {
    inlet: Inlet,
    meter: Meter,
    front: Option<Decimator>,
    /// At the base rate, a quarter of it, a sixteenth.
    trails: Vec<Trail>,
    /// From each trail to the next.
    steps: Vec<Decimator>,
    /// Working space, in turn input and output of a filter.
    now: Vec<f32>,
    next: Vec<f32>,
}

impl Ladder {
    /// `keeps`: for each rate from the base down, how many instants the longest window holds.
    pub(super) fn new(rates: Rates, layout: Layout, pair: usize, keeps: &[usize]) -> Self {
        Self {
            inlet: Inlet::new(layout, pair, rates.sound_hz),
            meter: Meter::new(rates.sound_hz),
            front: rates.front.map(Decimator::new),
            trails: keeps.iter().map(|&keep| Trail::new(keep)).collect(),
            steps: keeps.iter().skip(1).map(|_| Decimator::new(BETWEEN_LEVELS)).collect(),
            now: Vec::with_capacity(2 * PIECE),
            next: Vec::with_capacity(2 * PIECE),
        }
    }

    pub(super) fn push(&mut self, mut block: SampleBlock<'_>) {
        while block.instants() > 0 {
            let (head, tail) = block.split_at(PIECE);
            self.take(head);
            block = tail;
        }
    }

    fn take(&mut self, block: SampleBlock<'_>) {
        self.inlet.take(block, &mut self.now);
        self.meter.push(&self.now);
        if let Some(front) = &mut self.front {
            descend(front, &mut self.now, &mut self.next);
        }
        let mut steps = self.steps.iter_mut();
        for trail in &mut self.trails {
            trail.push(&self.now);
            if let Some(step) = steps.next() {
                descend(step, &mut self.now, &mut self.next);
            }
        }
    }

    /// The last `instants` pairs at the base rate divided by four `divisions` times.
    pub(super) fn last(&self, divisions: usize, instants: usize) -> &[f32] {
        self.trails.get(divisions).map_or(&[], |trail| trail.last(instants))
    }

    /// Mean square of both channels added up.
    pub(super) fn mean_square(&self) -> f64 {
        self.meter.mean_square()
    }
}

fn descend(filter: &mut Decimator, now: &mut Vec<f32>, next: &mut Vec<f32>) {
    next.clear();
    filter.push(now, next);
    std::mem::swap(now, next);
}

/// The newest pairs at one rate, always in one piece: when its room is used up, the newest move
/// to the front.
#[derive(Debug, Clone)]
struct Trail {
    pairs: Vec<f32>,
    keep: usize,
    room: usize,
}

impl Trail {
    /// Starts with silence.
    fn new(keep_instants: usize) -> Self {
        let keep = 2 * keep_instants;
        let room = if keep == 0 { 0 } else { 2 * keep + 2 * PIECE };
        let mut pairs = Vec::with_capacity(room);
        pairs.resize(keep, 0.0);
        Self { pairs, keep, room }
    }

    /// `new` is at most one piece.
    fn push(&mut self, new: &[f32]) {
        if self.keep == 0 {
            return;
        }
        if self.pairs.len() + new.len() > self.room {
            let old = self.pairs.len() - self.keep;
            self.pairs.copy_within(old.., 0);
            self.pairs.truncate(self.keep);
        }
        self.pairs.extend_from_slice(new);
    }

    fn last(&self, instants: usize) -> &[f32] {
        let from = self.pairs.len().saturating_sub(2 * instants);
        self.pairs.get(from..).unwrap_or_default()
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "quotients of round numbers are exact")]
mod tests {
    use super::*;

    #[test]
    fn every_rate_finds_its_levels() {
        let rates = |hz| {
            let rates = Rates::new(hz);
            [Level::Top, Level::Middle, Level::Low].map(|level| rates.rate_hz(level))
        };
        assert_eq!(rates(44_100), [44_100.0, 11_025.0, 2756.25]);
        assert_eq!(rates(64_000), [64_000.0, 16_000.0, 4000.0]);
        assert_eq!(rates(88_200), [44_100.0, 11_025.0, 2756.25]);
        assert_eq!(rates(192_000), [48_000.0, 12_000.0, 3000.0]);
        assert_eq!(rates(22_050), [22_050.0, 22_050.0, 5512.5]);
        assert_eq!(rates(8000), [8000.0, 8000.0, 2000.0]);
        let delay_ms = |hz, level| 1e3 * Rates::new(hz).delay_s(level);
        assert_eq!(delay_ms(48_000, Level::Middle), 0.375);
        assert_eq!(delay_ms(48_000, Level::Low), 1.875);
        assert_eq!(delay_ms(8000, Level::Middle), 0.0);
        assert!((delay_ms(96_000, Level::Top) - 50.0 / 96.0).abs() < 1e-12);
    }

    #[test]
    fn a_trail_ends_with_what_came_last() {
        let mut trail = Trail::new(5);
        assert_eq!(trail.last(2), [0.0; 4]);
        let mut count = 0.0;
        for run in 1..2000_usize {
            let new: Vec<f32> = (0..2 * (run % 30)).map(|n| count + n as f32).collect();
            count += new.len() as f32;
            trail.push(&new);
            if run > 10 {
                let expected: Vec<f32> = (1..=10).rev().map(|back| count - back as f32).collect();
                assert_eq!(trail.last(5), expected, "run {run}");
            }
        }
    }
}
