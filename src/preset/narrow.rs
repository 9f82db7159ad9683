//! Bands of a scale that are too narrow to be told apart: heard wider, and told once for many.

use super::words::{counted, rounded};
use crate::analysis::{BandRefusal, BandRequest, plan_band, widen_band};
use crate::audio::SoundFormat;

/// The too narrow bands of one route.
#[derive(Debug, Default)]
pub(super) struct Narrow {
    /// One for each length of sound that is heard at once.
    kinds: Vec<Kind>,
}

#[derive(Debug)]
struct Kind {
    held_ms: f64,
    /// What the narrowest of them would need.
    needed_ms: f64,
    /// Width they get.
    width_hz: f64,
    count: usize,
    /// From the lowest edge to the highest, as asked.
    span_hz: (f64, f64),
}

/// The band that will be heard for the one that was asked for, and what stands in its way.
pub(super) fn fitted(
    sound: SoundFormat,
    asked: BandRequest,
    may_widen: bool,
    narrow: &mut Narrow,
) -> (BandRequest, Option<BandRefusal>) {
    match plan_band(sound, &asked) {
        Ok(_) => (asked, None),
        Err(refusal @ BandRefusal::TooNarrow { .. }) if may_widen => {
            match widen_band(sound, &asked) {
                Ok(wide) => {
                    narrow.note(&refusal, &wide);
                    (wide, None)
                }
                Err(refusal) => (asked, Some(refusal)),
            }
        }
        Err(refusal) => (asked, Some(refusal)),
    }
}

impl Narrow {
    fn note(&mut self, refusal: &BandRefusal, wide: &BandRequest) {
        let BandRefusal::TooNarrow { low_hz, high_hz, needed_ms, held_ms, .. } = *refusal else {
            return;
        };
        let width_hz = wide.high_hz.0 - wide.low_hz.0;
        let alike = |kind: &&mut Kind| {
            rounded(kind.held_ms) == rounded(held_ms) && rounded(kind.width_hz) == rounded(width_hz)
        };
        if let Some(kind) = self.kinds.iter_mut().find(alike) {
            kind.needed_ms = kind.needed_ms.max(needed_ms);
            kind.count += 1;
            kind.span_hz = (kind.span_hz.0.min(low_hz), kind.span_hz.1.max(high_hz));
        } else {
            let span_hz = (low_hz, high_hz);
            self.kinds.push(Kind { held_ms, needed_ms, width_hz, count: 1, span_hz });
        }
    }

    /// What to say about them: title and label. `bands` is how many the route hears.
    pub(super) fn told(&self, bands: usize) -> impl Iterator<Item = (String, String)> + '_ {
        self.kinds.iter().map(move |kind| {
            let (low, high) = (rounded(kind.span_hz.0), rounded(kind.span_hz.1));
            let (are, each, one) = match kind.count {
                1 => ("is", "", "it"),
                _ => ("are", " each", "the narrowest"),
            };
            let title = format!(
                "{} of {}, {low} to {high} Hz, {are} too narrow and heard {} Hz wide{each}",
                kind.count,
                counted(bands, "band"),
                rounded(kind.width_hz)
            );
            let label = format!(
                "{one} would need {:.0} ms of sound, and {:.0} ms are heard at once there",
                kind.needed_ms, kind.held_ms
            );
            (title, label)
        })
    }
}
