//! All tempos and all places within a beat, with how likely each is.

#![expect(clippy::indexing_slicing, reason = "all indices are made from the lengths set in new")]

use std::ops::RangeInclusive;

/// Ticks per second.
pub const TICKS_PER_S: u16 = 125;

/// Lengths of a beat that are followed: 214 to 55 beats a minute. All of them, as rounding to some
/// would let one of two tempos an octave apart be followed and not the other.
const BEAT_TICKS: RangeInclusive<usize> = 35..=136;
/// How unlikely a change of tempo is from beat to beat: a tenth falls to exp(-7.5).
const STEADINESS: f64 = 75.0;
/// Tempo that is likeliest beforehand, and by how many octaves it spreads: beats are felt around two
/// a second, as in L. van Noorden and D. Moelants, "Resonance in the perception of musical pulse",
/// Journal of New Music Research 28, 1999 (from memory); the figures were tried out.
const USUAL_BPM: f64 = 105.0;
const SPREAD_OCTAVES: f64 = 0.4;
/// How much more likely a usual tempo is with every beat: one octave off, exp(-0.75). So where every
/// half beat has its sign as well, they do not win by their number.
const PULL: f64 = 0.75;
/// Share of a beat in which its sign is expected.
const SIGN: f64 = 0.05;
/// How often there is a stroke half way between beats that is no beat.
const HALVES: f64 = 0.25;
/// Sign from which something was heard, if no beat: half as surely at this one.
const HEARD: f64 = 0.015;
/// Least likelihood of anything: a beat without a sign, a sign without a beat.
const FLOOR: f64 = 0.045;
/// How much is always given back to every state, so that a new tempo is found after a break.
const FRESH: f64 = 1e-6;

/// A tempo and a place in its beat, in ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Place {
    pub(super) tempo: usize,
    pub(super) ticks: usize,
}

/// Likelihoods of all states.
#[derive(Debug, Clone)]
pub(super) struct States {
    /// Ticks per beat of each tempo, falling tempo.
    periods: Vec<usize>,
    /// First state of each tempo.
    first: Vec<usize>,
    /// Of each tempo beforehand, for each of its places.
    prior: Vec<f64>,
    /// From tempo to tempo at the end of a beat.
    change: Vec<f64>,
    likely: Vec<f64>,
    ends: Vec<f64>,
}

impl States {
    pub(super) fn new() -> Self {
        let periods: Vec<usize> = BEAT_TICKS.collect();
        let mut first = Vec::new();
        let mut states = 0;
        for period in &periods {
            first.push(states);
            states += period;
        }
        let prior = priors(&periods);
        let spread = |(&period, &prior): (&usize, &f64)| std::iter::repeat_n(prior, period);
        let likely: Vec<f64> = periods.iter().zip(&prior).flat_map(spread).collect();
        let change = changes(&periods);
        let ends = vec![0.0; periods.len()];
        Self { periods, first, prior, change, likely, ends }
    }

    pub(super) fn tempos(&self) -> usize {
        self.periods.len()
    }

    pub(super) fn period(&self, tempo: usize) -> usize {
        self.periods[tempo]
    }

    /// One tick with this sign of a beat, 0 to 1. Says for each tempo which one its newest beat
    /// came from, and where we likeliest are.
    pub(super) fn tick(&mut self, sign: f64, came_from: &mut [u8]) -> Place {
        self.advance(came_from);
        let (total, place) = self.hear(sign);
        let scale = total.recip();
        for (tempo, &period) in self.periods.iter().enumerate() {
            let fresh = FRESH * self.prior[tempo];
            let first = self.first[tempo];
            for likely in &mut self.likely[first..first + period] {
                *likely = *likely * scale + fresh;
            }
        }
        place
    }

    /// Every state goes on by a tick; beats that end may change their length.
    fn advance(&mut self, came_from: &mut [u8]) {
        for (tempo, &period) in self.periods.iter().enumerate() {
            let first = self.first[tempo];
            self.ends[tempo] = self.likely[first + period - 1];
            self.likely.copy_within(first..first + period - 1, first + 1);
        }
        for (tempo, from) in came_from.iter_mut().enumerate().take(self.periods.len()) {
            let mut best = -1.0;
            // Lengths are a tick apart. What changes by more than a tenth is as good as begun anew.
            let near = self.periods[tempo] / 10;
            for old in tempo.saturating_sub(near)..(tempo + near + 1).min(self.periods.len()) {
                let likely = self.ends[old] * self.change[old * self.periods.len() + tempo];
                if likely > best {
                    best = likely;
                    *from = u8::try_from(old).unwrap_or(u8::MAX);
                }
            }
            self.likely[self.first[tempo]] = best;
        }
    }

    /// Weighs every state by how well the sign fits; the sum and the likeliest.
    fn hear(&mut self, sign: f64) -> (f64, Place) {
        let here = sign + FLOOR;
        let elsewhere = (1.0 - sign) / (1.0 / SIGN - 1.0) + FLOOR;
        // Strokes half way between beats look a little like beats, the same way every time: so their
        // signs count little, up to where they are as plain as those of beats.
        let stroke = SIGN + (HALVES - SIGN) * sign / (sign + HEARD);
        let half = (1.0 - sign) * (1.0 - sign) * stroke + FLOOR;
        let (mut total, mut best, mut place) = (0.0, -1.0, Place::default());
        for (tempo, &period) in self.periods.iter().enumerate() {
            let states = &mut self.likely[self.first[tempo]..][..period];
            let wide = rounded(period as f64 * SIGN).max(1);
            let middle = period / 2;
            let mut highest = -1.0;
            for (ticks, fits) in [
                (0..wide, here),
                (wide..middle, elsewhere),
                (middle..middle + wide, half),
                (middle + wide..period, elsewhere),
            ] {
                let (sum, top) = weigh(&mut states[ticks], fits);
                total += sum;
                highest = top.max(highest);
            }
            if highest > best {
                best = highest;
                let ticks = states.iter().position(|likely| *likely >= best).unwrap_or(0);
                place = Place { tempo, ticks };
            }
        }
        (total, place)
    }
}

/// Makes states so many times likelier; their sum and the highest. In four lanes, as one sum after
/// the other would wait for the one before.
fn weigh(states: &mut [f64], times: f64) -> (f64, f64) {
    let (mut sums, mut tops) = ([0.0; 4], [-1.0; 4]);
    for four in states.chunks_mut(4) {
        for ((likely, sum), top) in four.iter_mut().zip(&mut sums).zip(&mut tops) {
            *likely *= times;
            *sum += *likely;
            *top = if *likely > *top { *likely } else { *top };
        }
    }
    (sums.iter().sum(), tops.into_iter().fold(-1.0, f64::max))
}

fn usual_ticks() -> f64 {
    60.0 * f64::from(TICKS_PER_S) / USUAL_BPM
}

fn priors(periods: &[usize]) -> Vec<f64> {
    let usual = usual_ticks();
    let raw = |&period: &usize| {
        let off = libm::log2(period as f64 / usual) / SPREAD_OCTAVES;
        libm::exp(-0.5 * off * off)
    };
    let sum: f64 = periods.iter().map(raw).sum();
    periods.iter().map(|period| raw(period) / sum / *period as f64).collect()
}

fn changes(periods: &[usize]) -> Vec<f64> {
    let usual = usual_ticks();
    let pull = |&period: &usize| {
        let off = libm::log2(period as f64 / usual);
        libm::exp(-PULL * off * off)
    };
    let pulls: Vec<f64> = periods.iter().map(pull).collect();
    let mut changes = Vec::new();
    for &old in periods {
        let ratio = |&new: &usize| libm::fabs(new as f64 / old as f64 - 1.0);
        let raw: Vec<f64> = periods.iter().map(|new| libm::exp(-STEADINESS * ratio(new))).collect();
        let sum: f64 = raw.iter().sum();
        changes.extend(raw.iter().zip(&pulls).map(|(likely, pull)| likely / sum * pull));
    }
    changes
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "positive and small")]
fn rounded(x: f64) -> usize {
    (x + 0.5) as usize
}
