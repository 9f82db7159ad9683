//! Onsets within a band: something begins there, whatever goes on elsewhere.
//!
//! Looks say how far each group of narrow bands has risen out of what is always there, vibrato left
//! aside. A band's onset is a rise of its groups, over two looks together, that stands above half
//! again what rises there all the time; after it comes a rest of 52 ms, as for events of the whole
//! sound. It is known 8 to 20 ms after the stroke; the lower the band, the later.

use crate::analysis::AnalysisError;
use crate::analysis::Channel;
use crate::analysis::bands::BandRefusal;
use crate::analysis::onset::{LOOKS_PER_S, Look, PER_GROUP, group_bands_hz};
use crate::units::Hertz;

/// Least rise, in nepers of power over the reference: a power 3.3 times as high. Steady noise in a
/// narrow band reaches 1.1 every few seconds.
const LEAST: f32 = 1.2;
/// How far above what rises all the time.
const TIMES_USUAL: f32 = 2.5;
/// Time constant of what rises all the time, s.
const USUAL_S: f32 = 0.7;
/// Looks from an onset to the next: 52 ms.
const REST_LOOKS: u32 = 13;
/// Looks at the start that only listen: what sounds from the very start did not begin there.
const START_LOOKS: u32 = 25;
/// Rise at which an onset counts half, nepers.
const HALF: f32 = 1.5;

/// One band's onsets.
pub(super) struct InBand {
    /// Groups that lie in the band, by the row of looks they belong to.
    rows: Vec<Vec<usize>>,
    before: f32,
    usual: f32,
    stays: f32,
    rest: u32,
    strongest: f32,
}

impl InBand {
    pub(super) fn new(low: Hertz, high: Hertz) -> Result<Self, AnalysisError> {
        let (low_hz, high_hz) = (low.0, high.0);
        if !(low_hz >= 0.0 && high_hz > low_hz && high_hz.is_finite()) {
            let refusal = BandRefusal::Edges { low_hz, high_hz };
            return Err(AnalysisError::Band { number: 1, channel: Channel::All, refusal });
        }
        Ok(Self {
            rows: rows(low_hz, high_hz),
            before: 0.0,
            usual: 0.0,
            stays: libm::expf(-1.0 / (USUAL_S * f32::from(LOOKS_PER_S))),
            rest: START_LOOKS,
            strongest: 0.0,
        })
    }

    pub(super) fn look(&mut self, look: &Look) {
        let mean = |row: &Vec<usize>| {
            let rises = row.iter().filter_map(|group| look.get(PER_GROUP * group)).sum::<f32>();
            rises / row.len() as f32
        };
        let rise = self.rows.iter().map(mean).fold(0.0, f32::max);
        let both = 0.5 * (rise + self.before);
        self.before = rise;
        self.rest = self.rest.saturating_sub(1);
        if self.rest == 0 && both > LEAST.max(TIMES_USUAL * self.usual) {
            self.rest = REST_LOOKS;
            self.strongest = self.strongest.max(both / (both + HALF));
        }
        self.usual += (1.0 - self.stays) * (rise - self.usual);
    }

    /// The strongest since it was last asked for; 0 for none.
    pub(super) fn take(&mut self) -> f32 {
        std::mem::take(&mut self.strongest)
    }
}

/// Groups of which at least half lies in the band; where a row has none, the one that holds the
/// most of it. Rows that do not reach the band are left out.
fn rows(low_hz: f64, high_hz: f64) -> Vec<Vec<usize>> {
    let bands = group_bands_hz();
    let shared =
        |&(_, low, high): &(usize, f64, f64)| (high_hz.min(high) - low_hz.max(low)).max(0.0);
    let mut rows = Vec::new();
    for row in 0..=bands.last().map_or(0, |band| band.0) {
        let here = || bands.iter().enumerate().filter(move |(_, band)| band.0 == row);
        let mut groups: Vec<usize> = here()
            .filter(|(_, band)| shared(band) >= 0.5 * (band.2 - band.1))
            .map(|(group, _)| group)
            .collect();
        if groups.is_empty() {
            let most = here().max_by(|a, b| shared(a.1).total_cmp(&shared(b.1)));
            groups.extend(most.filter(|(_, band)| shared(band) > 0.0).map(|(group, _)| group));
        }
        if !groups.is_empty() {
            rows.push(groups);
        }
    }
    rows
}
