//! The track of levels: how loud it is, and whether something meddles with the level.

use super::hum::LongSpectra;
use serde::Serialize;

/// A step of the track, s.
const STEP_S: f64 = 0.01;

/// Steps in a tenth of a second.
const TENTH: usize = 10;

/// A pause is at least this many steps ...
const PAUSE_STEPS: usize = 30;

/// ... this far below the loudest second before it, as a power.
const PAUSE_BELOW: f64 = 0.01;

/// A second of steps.
const SECOND: usize = 100;

/// Nothing at all, as a mean square: below what any converter's own noise leaves, -110 dBFS.
const NOTHING: f64 = 1e-11;

/// Sound that a gate cuts off was at least this, as a mean square: -60 dBFS.
const SOUND: f64 = 1e-6;

/// Floors that rise faster than this in pauses are being turned up, dB per second. Common
/// practice, no source.
const RISE_DB_PER_S: f64 = 5.0;

/// A voice band has nothing above it: this far down, dB per bin. Music at line level loses some 15
/// to 35 dB there. Common practice, no source.
const VOICE_DB: f64 = -55.0;

/// Signs that something between the plug and the program alters the sound.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Meddling {
    /// Pauses in the sound, of which the two figures below speak.
    pub pauses: usize,
    /// Times the input fell from sound to digital nothing within 20 ms.
    pub cut_to_nothing: usize,
    /// How fast the floor rises in the middle pause, dB per second; `None` with fewer than three.
    pub floor_rise_db_per_s: Option<f64>,
    /// True when that is a sign of automatic gain.
    pub automatic_gain: bool,
    /// True when cuts to nothing are a sign of a gate or of noise suppression.
    pub gate: bool,
    /// 9 to 14 kHz against 1.5 to 3.2 kHz, dB per bin; `None` where the rate does not reach.
    pub top_against_middle_db: Option<f64>,
    /// True when nothing lies above the voice band.
    pub voice_band: bool,
}

/// Mean squares of hundredths of a second.
#[derive(Debug, Clone)]
pub(super) struct Track {
    steps: Vec<f64>,
    sum: f64,
    count: u32,
    per_step: u32,
}

impl Track {
    pub(super) fn new(rate_hz: u32) -> Self {
        Self { steps: Vec::with_capacity(60 * SECOND), sum: 0.0, count: 0, per_step: rate_hz / 100 }
    }

    pub(super) fn push(&mut self, square: f64) {
        self.sum += square;
        self.count += 1;
        if self.count == self.per_step {
            self.steps.push(self.sum / f64::from(self.count));
            self.sum = 0.0;
            self.count = 0;
        }
    }

    /// Mean square of the louder half of the tenths of a second.
    pub(super) fn loud_half(&self) -> f64 {
        let mut tenths: Vec<f64> = self.steps.chunks_exact(TENTH).map(mean).collect();
        tenths.sort_by(f64::total_cmp);
        mean(tenths.get(tenths.len() / 2..).unwrap_or(&[]))
    }

    /// Pauses as runs of steps, without their first tenth of a second: what rings out there is the
    /// sound's own end.
    fn pauses(&self) -> Vec<&[f64]> {
        let mut found = Vec::new();
        let mut begun = None;
        for at in 0..=self.steps.len() {
            let quiet = self.steps.get(at).is_some_and(|&now| {
                let before = self.steps.get(at.saturating_sub(3 * SECOND)..at).unwrap_or(&[]);
                let loudest = before.iter().copied().fold(0.0, f64::max);
                loudest > SOUND && now < PAUSE_BELOW * loudest
            });
            match (quiet, begun) {
                (true, None) => begun = Some(at),
                (false, Some(from)) if at - from >= PAUSE_STEPS => {
                    found.extend(self.steps.get(from + TENTH..at));
                    begun = None;
                }
                (false, _) => begun = None,
                (true, Some(_)) => {}
            }
        }
        found
    }

    /// Falls from sound to nothing from one step to the next but one.
    fn cuts(&self) -> usize {
        let fell = |three: &&[f64]| matches!(three, [before, _, after] if *before > SOUND && *after < NOTHING);
        self.steps.windows(3).filter(fell).count().div_ceil(2)
    }
}

/// Weighs track and spectra; `None` when nothing was heard.
pub(super) fn weigh(track: &Track, spectra: &LongSpectra) -> Option<Meddling> {
    let loudest = track.steps.iter().copied().fold(0.0, f64::max);
    if loudest < SOUND {
        return None;
    }
    let pauses = track.pauses();
    let mut rises: Vec<f64> =
        pauses.iter().filter(|pause| mean(pause) > NOTHING).map(|pause| slope(pause)).collect();
    rises.sort_by(f64::total_cmp);
    let middle = (rises.len() >= 3).then(|| rises.get(rises.len() / 2).copied()).flatten();
    let cuts = track.cuts();
    let top = spectra.top_against_middle_db();
    Some(Meddling {
        pauses: pauses.len(),
        cut_to_nothing: cuts,
        floor_rise_db_per_s: middle,
        automatic_gain: middle.is_some_and(|rise| rise > RISE_DB_PER_S),
        gate: cuts >= 3,
        top_against_middle_db: top,
        voice_band: top.is_some_and(|level| level < VOICE_DB),
    })
}

fn mean(values: &[f64]) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / values.len() as f64 }
}

/// Straight line through the levels of a pause, dB per second.
fn slope(pause: &[f64]) -> f64 {
    let levels = || pause.iter().map(|&step| 10.0 * libm::log10(step.max(1e-18)));
    let (count, middle) = (pause.len() as f64, (pause.len() as f64 - 1.0) / 2.0);
    let mean = levels().sum::<f64>() / count;
    let (mut up, mut down) = (0.0, 0.0);
    for (at, level) in levels().enumerate() {
        let from = at as f64 - middle;
        up += from * (level - mean);
        down += from * from;
    }
    if down > 0.0 { up / down / STEP_S } else { 0.0 }
}
