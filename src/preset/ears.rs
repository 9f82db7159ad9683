//! What a route hears besides levels: words of the file to ears of the analysis and back.

use super::display::Display;
use super::mapping::Mapping;
use super::route::{Hears, Strokes, Window};
use crate::analysis::EarRequest;
use crate::analysis::onset::Kind;
use crate::mapper;
use crate::units::{Hertz, Seconds};

/// Band whose level says how much an event of a kind counts, Hz: where such strokes have most of
/// their power (common practice, no source).
pub(super) fn band_of(strokes: Strokes) -> (f64, f64) {
    match strokes {
        Strokes::Any => (40.0, 12_000.0),
        Strokes::Kick => (40.0, 120.0),
        Strokes::Snare => (180.0, 4000.0),
        Strokes::Hat => (6000.0, 16_000.0),
    }
}

/// The ear that a route needs; `None` for one that follows levels. The beat leads by `lag` where the
/// route does not say how far.
pub(super) fn request(hears: &Hears, lag: Seconds) -> Option<EarRequest> {
    let seconds = |ms: Option<f64>| ms.map_or(lag, |ms| Seconds(ms / 1000.0));
    Some(match *hears {
        Hears::Onset { of, .. } => EarRequest::Event(match of {
            Strokes::Any => Kind::Onset,
            Strokes::Kick => Kind::Kick,
            Strokes::Snare => Kind::Snare,
            Strokes::Hat => Kind::Hat,
        }),
        Hears::OnsetInBand { low_hz, high_hz, .. } => {
            EarRequest::EventInBand { low_hz: Hertz(low_hz), high_hz: Hertz(high_hz) }
        }
        Hears::Beat { lead_ms, sure } => EarRequest::Beat { lead_s: seconds(lead_ms), sure },
        Hears::BeatPhase { lead_ms, sure } => EarRequest::Phase { lead_s: seconds(lead_ms), sure },
        Hears::Brightness { .. } => EarRequest::Brightness,
        Hears::Loudness { over } => EarRequest::Loudness { slow: over == Window::ShortTerm },
        Hears::Band { .. }
        | Hears::ScaleBand { .. }
        | Hears::Bands { .. }
        | Hears::BarkBand { .. }
        | Hears::BarkBands { .. }
        | Hears::WarpedBands { .. }
        | Hears::Edges { .. } => return None,
    })
}

/// Ears that are asked for, each once.
#[derive(Debug)]
pub(super) struct Ears {
    pub(super) requests: Vec<EarRequest>,
    /// How late the fluid follows; 0 where the display does not say.
    pub(super) lag: Seconds,
}

impl Ears {
    /// None yet, for mappings on a display.
    pub(super) fn on(display: &Display) -> Self {
        let lag = display.fluid_lag().map_or(Seconds(0.0), |lag| lag.lead());
        Self { requests: Vec::new(), lag }
    }

    /// What the mapper makes of what a route hears.
    pub(super) fn hears(&mut self, hears: &Hears) -> mapper::Hears {
        let Some(request) = request(hears, self.lag) else { return mapper::Hears::Levels };
        let ear = self.number(request);
        match *hears {
            Hears::BeatPhase { .. } => mapper::Hears::Between { ear, low: 0.0, high: 1.0 },
            Hears::Brightness { low_hz, high_hz } => {
                mapper::Hears::Between { ear, low: low_hz, high: high_hz }
            }
            Hears::Loudness { .. } => mapper::Hears::Loudness { ear },
            _ => mapper::Hears::Strikes { ear },
        }
    }

    /// What becomes of soft passages.
    pub(super) fn passages(&mut self, mapping: &Mapping) -> mapper::Passages {
        let Some(passages) = mapping.passages else { return mapper::Passages::Even };
        let ear = self.number(EarRequest::Loudness { slow: true });
        mapper::Passages::Kept { ear, keep: passages.keep, least: passages.least }
    }

    fn number(&mut self, request: EarRequest) -> usize {
        self.requests.iter().position(|known| *known == request).unwrap_or_else(|| {
            self.requests.push(request);
            self.requests.len() - 1
        })
    }
}
