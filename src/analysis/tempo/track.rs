//! Beats from states: as they come, or over a whole song at its end.

use super::pulse::Pulse;
use super::states::{Place, States, TICKS_PER_S};

/// Least share of a beat between two beats.
const LEAST_GAP: f64 = 0.55;
/// Share of a beat after which its beginning is no longer told.
const TOO_LATE: f64 = 0.3;

/// A beat as it comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// When it fell, s from the start of the sound.
    pub time_s: f64,
    /// When it was known.
    pub emitted_s: f64,
    /// See [`Tempo::confidence`].
    pub confidence: f64,
}

/// Follows the beat as it comes.
#[derive(Debug, Clone)]
pub struct Tempo {
    states: States,
    came_from: Vec<u8>,
    late_s: f64,
    ticks: u64,
    place: Place,
    last: Option<u64>,
    /// Highest sign near the places where a beat was expected, since the last beat.
    marked: f64,
    confidence: f64,
    pulse: Pulse,
}

/// Ticks around a beat in which its sign is looked for.
const NEAR_TICKS: usize = 5;

/// Share of the confidence that the newest beat makes up.
const NEW: f64 = 0.15;

/// What is left of the confidence when a beat does not follow from the last ones.
const BROKEN: f64 = 0.5;

impl Tempo {
    /// `late_s`: how much later than the sound its signs come.
    pub fn new(late_s: f64) -> Self {
        let states = States::new();
        Self {
            came_from: vec![0; states.tempos()],
            states,
            late_s,
            ticks: 0,
            place: Place::default(),
            last: None,
            marked: 0.0,
            confidence: 0.0,
            pulse: Pulse::default(),
        }
    }

    /// One tick of 1 / [`TICKS_PER_S`] s with the sign of a beat that was heard in it, 0 to 1.
    pub fn tick(&mut self, sign: f64) -> Option<Beat> {
        self.ticks += 1;
        let before = self.place;
        self.place = self.states.tick(sign, &mut self.came_from);
        let period = self.states.period(self.place.tempo) as f64;
        let ticks = self.place.ticks;
        if ticks.min(self.states.period(self.place.tempo) - ticks) <= NEAR_TICKS {
            self.marked = self.marked.max(sign);
        }
        let began = self.ticks.saturating_sub(self.place.ticks as u64);
        let wrapped =
            self.place.ticks < before.ticks && (self.place.ticks as f64) < TOO_LATE * period;
        let apart =
            self.last.is_none_or(|last| self.ticks as f64 - last as f64 > LEAST_GAP * period);
        if !(wrapped && apart) {
            return None;
        }
        self.last = Some(began);
        if !self.pulse.beat(began as f64, period) {
            self.confidence *= BROKEN;
        }
        self.confidence += NEW * (self.marked - self.confidence);
        self.marked = 0.0;
        let emitted_s = seconds(self.ticks);
        let time_s = (seconds(began) - self.late_s).max(0.0);
        Some(Beat { time_s, emitted_s, confidence: self.confidence })
    }

    /// Length of a beat as it seems now, s.
    pub fn period_s(&self) -> f64 {
        self.ahead().1 / f64::from(TICKS_PER_S)
    }

    /// When the next beat will fall, s from the start of the sound.
    pub fn next_beat_s(&self) -> f64 {
        self.ahead().0 / f64::from(TICKS_PER_S) - self.late_s
    }

    /// The next beat and the length of a beat, in ticks.
    fn ahead(&self) -> (f64, f64) {
        let period = self.states.period(self.place.tempo) as f64;
        let began = self.ticks as f64 - self.place.ticks as f64;
        self.pulse.refine(began + period, period)
    }

    /// Share of the last beats that the sound itself marked, 0 to 1; halved whenever a beat does not
    /// follow from the last ones, so that it is low until the pulse is even.
    pub fn confidence(&self) -> f64 {
        self.confidence
    }
}

/// Remembers the way of every state, to tell the beats of a whole song at its end. Grows by some
/// 13 kB for each second of sound: for files.
#[derive(Debug, Clone)]
pub struct Trace {
    states: States,
    late_s: f64,
    came_from: Vec<u8>,
    signs: Vec<f32>,
    place: Place,
}

impl Trace {
    /// See [`Tempo::new`].
    pub fn new(late_s: f64) -> Self {
        let (came_from, signs) = (Vec::new(), Vec::new());
        Self { states: States::new(), late_s, came_from, signs, place: Place::default() }
    }

    /// See [`Tempo::tick`].
    pub fn tick(&mut self, sign: f64) {
        #[expect(clippy::cast_possible_truncation, reason = "kept for a rough figure")]
        self.signs.push(sign as f32);
        let from = self.came_from.len();
        self.came_from.resize(from + self.states.tempos(), 0);
        if let Some(row) = self.came_from.get_mut(from..) {
            self.place = self.states.tick(sign, row);
        }
    }

    /// All beats so far: when, in s from the start of the sound, and the highest sign within
    /// 40 ms of it.
    pub fn beats(&self) -> Vec<(f64, f64)> {
        let tempos = self.states.tempos();
        let mut beats = Vec::new();
        let (mut tick, mut tempo) = (self.came_from.len() / tempos, self.place.tempo);
        let mut back = self.place.ticks;
        while tick > back {
            tick -= back;
            let near = tick.saturating_sub(NEAR_TICKS)..(tick + NEAR_TICKS).min(self.signs.len());
            let near = self.signs.get(near).unwrap_or_default();
            let sign = near.iter().copied().fold(0.0, f32::max);
            beats.push(((seconds(tick as u64) - self.late_s).max(0.0), f64::from(sign)));
            let from = self.came_from.get((tick - 1) * tempos + tempo);
            tempo = from.map_or(tempo, |&from| usize::from(from));
            back = self.states.period(tempo);
        }
        beats.reverse();
        beats
    }
}

fn seconds(ticks: u64) -> f64 {
    ticks as f64 / f64::from(TICKS_PER_S)
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "ticks are whole")]
mod tests {
    use super::*;

    /// Sign where there is no stroke: nets give .001 to .003 in the median.
    const QUIET: f64 = 0.002;

    /// A sign every so many ticks, for so many beats, then the next length.
    fn signs(runs: &[(usize, usize)]) -> Vec<f64> {
        let beat = |ticks| (0..ticks).map(|tick| if tick == 0 { 0.9 } else { QUIET });
        let run = |&(ticks, beats)| (0..beats).flat_map(move |_| beat(ticks));
        runs.iter().flat_map(run).collect()
    }

    fn follow(signs: &[f64]) -> (Tempo, Vec<Beat>) {
        let mut tempo = Tempo::new(0.0);
        let beats = signs.iter().filter_map(|&sign| tempo.tick(sign)).collect();
        (tempo, beats)
    }

    #[test]
    fn a_steady_pulse_is_locked_onto_and_foretold() {
        // Slower pulses are taken for half of a faster beat, which is a matter of taste.
        for ticks in [40, 62, 63, 75, 90] {
            let (tempo, beats) = follow(&signs(&[(ticks, 20)]));
            let period_s = ticks as f64 / f64::from(TICKS_PER_S);
            assert!((tempo.period_s() / period_s - 1.0).abs() < 0.04, "{ticks} ticks a beat");
            // The tick after the 20th beat of the pulse would have been the 21st's first.
            let next_s = (20 * ticks + 1) as f64 / f64::from(TICKS_PER_S);
            assert!((tempo.next_beat_s() - next_s).abs() < 0.025, "{}", tempo.next_beat_s());
            for beat in beats.iter().skip(4) {
                let place = (beat.time_s * f64::from(TICKS_PER_S) - 1.0) / ticks as f64;
                let off_s = (place - place.round()).abs() * period_s;
                assert!(off_s < 0.025 && beat.emitted_s >= beat.time_s, "{ticks}: {beat:?}");
            }
            assert!(tempo.confidence() > 0.6, "{}", tempo.confidence());
        }
    }

    /// Weak signs half way between beats do not make the tempo twice as fast, nor
    /// do missing ones make it half as fast. The slower the beats, the less it takes: of 80 ticks, .2.
    #[test]
    fn signs_between_beats_leave_the_tempo_alone() {
        for (ticks, between) in [(60, 0.5), (65, 0.3), (80, 0.1), (47, 0.02)] {
            let beat = |tick| match tick {
                0 => 0.9,
                _ if tick == ticks / 2 => between,
                _ => QUIET,
            };
            let all: Vec<f64> = (0..30).flat_map(|_| (0..ticks).map(beat)).collect();
            let (tempo, _) = follow(&all);
            let ratio = tempo.period_s() * f64::from(TICKS_PER_S) / ticks as f64;
            assert!((ratio - 1.0).abs() < 0.05, "{ticks} ticks a beat: {ratio}");
        }
    }

    #[test]
    fn beats_go_on_without_signs_and_are_less_sure() {
        let mut all = signs(&[(60, 20)]);
        let (before, _) = follow(&all);
        all.extend([QUIET; 480]);
        let (after, beats) = follow(&all);
        let on = beats.iter().filter(|beat| beat.time_s > 20.0 * 0.48).count();
        // Fewer than the eight there would have been: with nothing heard, half the tempo wins.
        assert!(on >= 3, "{on}");
        assert!(after.confidence() < before.confidence() - 0.1);
    }

    #[test]
    fn another_tempo_is_found_again() {
        let (tempo, _) = follow(&signs(&[(60, 16), (78, 16)]));
        assert!((tempo.period_s() / (78.0 / 125.0) - 1.0).abs() < 0.04);
    }

    /// Beats move to the middle between the old ones. Unmarked beats alone would leave .53 of it.
    #[test]
    fn a_broken_pulse_is_less_sure() {
        let (before, beats) = follow(&signs(&[(60, 20)]));
        let (_, all) = follow(&signs(&[(60, 20), (30, 1), (60, 20)]));
        let after = all.iter().skip(beats.len()).map(|beat| beat.confidence);
        let least = after.fold(1.0, f64::min);
        assert!(least < 0.45 * before.confidence(), "{least}, {}", before.confidence());
    }

    /// Signs that come later than the sound leave the next beat so much earlier.
    #[test]
    fn late_signs_are_allowed_for() {
        let (on_time, _) = follow(&signs(&[(60, 20)]));
        let mut late = Tempo::new(0.1);
        for sign in signs(&[(60, 20)]) {
            late.tick(sign);
        }
        assert!((on_time.next_beat_s() - late.next_beat_s() - 0.1).abs() < 1e-9);
    }

    /// Known at the end, all beats but the first few are where the signs are.
    #[test]
    fn the_whole_song_places_every_beat() {
        let mut trace = Trace::new(0.0);
        signs(&[(60, 12), (62, 12), (64, 12)]).iter().for_each(|&sign| trace.tick(sign));
        let beats = trace.beats();
        let mut truth = Vec::new();
        let mut tick = 1;
        for ticks in [60, 62, 64] {
            for _ in 0..12 {
                truth.push(f64::from(tick) / f64::from(TICKS_PER_S));
                tick += ticks;
            }
        }
        let hit = |t: &&f64| beats.iter().any(|beat| (beat.0 - **t).abs() < 0.025);
        assert!(truth.iter().filter(hit).count() >= 34, "{beats:?}");
        assert!(beats.len() <= 37);
        assert!(beats.iter().skip(2).all(|beat| beat.1 > 0.8));
    }

    #[test]
    fn nothing_heard_is_no_beat() {
        assert!(Trace::new(0.0).beats().is_empty());
    }
}
