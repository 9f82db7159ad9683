//! Where a band is read: its level, its window, its bins, and what that costs.
//!
//! A window of T seconds tells apart what lies 1.5 / T or more from each other. A band takes the
//! lowest level that holds its upper edge (there the filters have least left to do and one
//! transform serves many bands), and there the short window if it is wide enough for that one.
//!
//! How far a steady sine in the middle of a band of width B reads too low, because the window's
//! foot reaches over the band's edges (computed; at an edge every band reads 3 dB less, and the
//! neighbour the same):
//!
//! | B x T | fall 1/4 (long) | fall 1/8 (short) |
//! |-------|-----------------|------------------|
//! | 1.5   | 1.0 dB          | 1.1 dB           |
//! | 2     | 0.45 dB         | 0.56 dB          |
//! | 2.5   | 0.21 dB         | 0.34 dB          |
//! | 3.28  | 0.10 dB         | 0.22 dB          |
//! | 4.92  | 0.03 dB         | 0.10 dB          |
//!
//! A weighted band asks for more: a window that cannot tell a deep tone from a higher one gives it
//! the higher one's weight. Such a band is read in pieces, each at the level of its own frequencies
//! ([`pieces`]), and through long windows where the weight changes fast.
//!
//! With whole bins shared between bands the worst place between two bins adds up to 0.4 dB;
//! [`BandInfo::level_error_db`] has it in.

use super::ladder::{Level, Rates};
use super::tally::BinRange;
use super::window;
use super::{BandInfo, BandRequest, Weighting};
use crate::audio::SoundFormat;
use crate::units::{Hertz, Seconds};
use thiserror::Error;

/// Noise bandwidth of both windows, in units of 1 / T: nothing narrower can be told apart.
const NARROWEST: f64 = 1.5;
/// From here on the long window's foot costs 0.1 dB or less.
const ENOUGH_FOR_LONG: f64 = 3.28;
/// From here on the short window's, which falls faster.
const ENOUGH_FOR_SHORT: f64 = 4.92;

/// Share of a level's rate up to which its filter leaves the sound whole.
const WHOLE_SHARE: f64 = 0.2;
/// Highest upper edges for the low and the middle level. They keep the choice the same at all
/// common rates from 44.1 kHz up.
const LOW_TO_HZ: f64 = 550.0;
const MIDDLE_TO_HZ: f64 = 2200.0;

/// Smallest transform.
const SMALLEST_FFT: usize = 256;

/// Why a band cannot be measured.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum BandRefusal {
    /// Edges that are no band.
    #[error(
        "{low_hz} to {high_hz} Hz is no band: write the lower edge first, at least 0 Hz, then a \
         higher one"
    )]
    Edges {
        /// As asked.
        low_hz: f64,
        /// As asked.
        high_hz: f64,
    },
    /// Narrower than the sound heard at once can tell apart.
    #[error(
        "{} to {} Hz needs {needed_ms:.0} ms of sound to be told from its neighbours, \
         and {held_ms:.0} ms are heard at once there: make it at least {narrowest_hz:.1} Hz wide",
        tenths(*low_hz),
        tenths(*high_hz)
    )]
    TooNarrow {
        /// As asked.
        low_hz: f64,
        /// As asked.
        high_hz: f64,
        /// Window that a band of this width would need.
        needed_ms: f64,
        /// Longest window at this place of the spectrum.
        held_ms: f64,
        /// Least width that would be accepted here.
        narrowest_hz: f64,
    },
}

/// Edges of scales have more digits than anyone reads.
fn tenths(hz: f64) -> f64 {
    (10.0 * hz).round() / 10.0
}

/// A window on a level: all bands that share one share its transform.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct View {
    pub(super) level: Level,
    pub(super) short: bool,
}

impl View {
    /// Length in seconds, before it is rounded to whole samples.
    fn nominal_s(self) -> f64 {
        let long = match self.level {
            Level::Low => 0.128,
            Level::Middle => 0.032,
            Level::Top => 0.032 / 3.0,
        };
        if self.short { 0.5 * long } else { long }
    }

    /// Samples that rise and that fall.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a tenth of a second at no more than 64 kHz is a small whole number"
    )]
    pub(super) fn halves(self, rate_hz: f64) -> (usize, usize) {
        let len = (self.nominal_s() * rate_hz).round();
        let fall = (if self.short { len / 8.0 } else { len / 4.0 }).round();
        ((len - fall) as usize, fall as usize)
    }

    /// Transform length for a window of `samples`.
    pub(super) fn fft_len(samples: usize) -> usize {
        samples.next_power_of_two().max(SMALLEST_FFT)
    }
}

/// One band, placed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    /// Low to high; one, or several whose powers add up.
    pub(super) pieces: Vec<Piece>,
    pub(super) info: BandInfo,
}

/// A part of a band that is read in one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    pub(super) view: View,
    pub(super) low_hz: f64,
    pub(super) high_hz: f64,
    /// From the lower edge to here it takes over from the piece below.
    full_from_hz: f64,
    /// From here to the upper edge the piece above takes over.
    full_to_hz: f64,
}

impl Piece {
    /// How much of the power at a frequency within the piece it counts.
    pub(super) fn share(&self, hz: f64) -> f64 {
        if hz < self.full_from_hz {
            (hz - self.low_hz) / (self.full_from_hz - self.low_hz)
        } else if hz > self.full_to_hz {
            (self.high_hz - hz) / (self.high_hz - self.full_to_hz)
        } else {
            1.0
        }
    }
}

/// How a band of this sound would be measured.
///
/// # Errors
/// When the edges are no band, or too close together for the sound that is heard at once.
pub fn plan_band(sound: SoundFormat, request: &BandRequest) -> Result<BandInfo, BandRefusal> {
    place(Rates::new(sound.rate_hz), request).map(|placed| placed.info)
}

/// The narrowest band that can be measured around the middle of one that is too narrow; a band
/// that is wide enough comes back as it is. Widened bands of a scale overlap.
///
/// # Errors
/// When the edges are no band.
pub fn widen_band(sound: SoundFormat, request: &BandRequest) -> Result<BandRequest, BandRefusal> {
    let rates = Rates::new(sound.rate_hz);
    let middle = 0.5 * (request.low_hz.0 + request.high_hz.0);
    let mut wide = *request;
    loop {
        match place(rates, &wide) {
            // A wider band may end at a level with shorter windows, which asks for more width: at
            // most twice, as there are three levels.
            Err(BandRefusal::TooNarrow { narrowest_hz, .. }) => {
                let low = (middle - 0.5 * narrowest_hz).max(0.0);
                wide.low_hz = Hertz(low);
                wide.high_hz = Hertz(low + narrowest_hz);
            }
            outcome => return outcome.map(|_| wide),
        }
    }
}

pub(super) fn place(rates: Rates, request: &BandRequest) -> Result<Placed, BandRefusal> {
    let (low_hz, high_hz) = (request.low_hz.0, request.high_hz.0);
    if !(low_hz >= 0.0 && high_hz > low_hz && high_hz.is_finite()) {
        return Err(BandRefusal::Edges { low_hz, high_hz });
    }
    let level = level_for(rates, high_hz);
    let long = View { level, short: false };
    let short = View { level, short: true };
    let width = high_hz - low_hz;
    let [held_s, short_s] = [long.nominal_s(), short.nominal_s()];
    // Edges that are typed in decimals may miss a limit by their last bit.
    let at_least = |bound: f64| width >= bound * (1.0 - 1e-9);
    if !at_least(NARROWEST / held_s) {
        return Err(BandRefusal::TooNarrow {
            low_hz,
            high_hz,
            needed_ms: 1e3 * NARROWEST / width,
            held_ms: 1e3 * held_s,
            narrowest_hz: NARROWEST / held_s,
        });
    }
    let steep = request.weighting != Weighting::None && low_hz < STEEP_BELOW_HZ;
    let view = if at_least(ENOUGH_FOR_SHORT / short_s) && !steep { short } else { long };
    let wide_enough = view.short || at_least(ENOUGH_FOR_LONG / held_s);
    let level_error_db = if wide_enough { 0.0 } else { level_error_db(rates, view, width) };
    let pieces = pieces(rates, request, view);
    let slowest = pieces.first().map_or(view, |piece| piece.view);
    Ok(Placed { pieces, info: describe(rates, slowest, *request, level_error_db) })
}

/// Below this weighting A changes so fast that the short window of the low level would read a deep
/// tone more than 0.5 dB too high.
const STEEP_BELOW_HZ: f64 = 120.0;

/// A weighted band that begins an octave or more below the upper edge of a level and reaches past
/// it is read there up to that edge, and over that octave the next level takes over: were it cut at
/// one frequency, windows of different length would count a tone there up to 1 dB too high.
fn pieces(rates: Rates, request: &BandRequest, view: View) -> Vec<Piece> {
    let (low_hz, high_hz) = (request.low_hz.0, request.high_hz.0);
    let whole = Piece { view, low_hz, high_hz, full_from_hz: low_hz, full_to_hz: high_hz };
    if request.weighting == Weighting::None {
        return vec![whole];
    }
    let (mut pieces, mut rest) = (Vec::new(), whole);
    for level in [Level::Low, Level::Middle] {
        let top_hz = top_hz(rates, level);
        let begin_hz = 0.5 * top_hz;
        if rest.low_hz < begin_hz && rest.high_hz > top_hz {
            let view = View { level, short: false };
            pieces.push(Piece { view, high_hz: top_hz, full_to_hz: begin_hz, ..rest });
            let view = View { short: false, ..rest.view };
            rest = Piece { view, low_hz: begin_hz, full_from_hz: top_hz, ..rest };
        }
    }
    pieces.push(rest);
    pieces
}

fn level_for(rates: Rates, high_hz: f64) -> Level {
    let holds = |level: &Level| high_hz <= top_hz(rates, *level);
    [Level::Low, Level::Middle].into_iter().find(holds).unwrap_or(Level::Top)
}

/// The highest upper edge that is read at a level.
fn top_hz(rates: Rates, level: Level) -> f64 {
    let cap = match level {
        Level::Low => LOW_TO_HZ,
        Level::Middle => MIDDLE_TO_HZ,
        Level::Top => f64::INFINITY,
    };
    let whole = WHOLE_SHARE * rates.rate_hz(level);
    if rates.divisions(level) == 0 { cap } else { cap.min(whole) }
}

fn describe(rates: Rates, view: View, request: BandRequest, level_error_db: f64) -> BandInfo {
    let rate = rates.rate_hz(view.level);
    let (rise, fall) = view.halves(rate);
    let (Hertz(low), Hertz(high)) = (request.low_hz, request.high_hz);
    let beyond = (high - low.max(rates.limit_hz())).max(0.0);
    BandInfo {
        request,
        level_rate_hz: rate,
        window_s: Seconds((rise + fall) as f64 / rate),
        delay_s: Seconds(rates.delay_s(view.level) + fall as f64 / rate * tenth_of_power()),
        level_error_db,
        beyond_sound: beyond / (high - low),
    }
}

/// Share of the fall after which an event counts with a tenth of its power: where half a Hann
/// window, squared, is 0.1.
fn tenth_of_power() -> f64 {
    libm::acos(1.0 - 2.0 * libm::sqrt(0.1)) / std::f64::consts::PI
}

/// How much a sine in the middle of the band reads too low at the worst place between two bins.
fn level_error_db(rates: Rates, view: View, width_hz: f64) -> f64 {
    let rate = rates.rate_hz(view.level);
    let (rise, fall) = view.halves(rate);
    let shape = window::half_hanns(rise, fall);
    let fft_len = View::fft_len(shape.len());
    let bins = width_hz / rate * fft_len as f64;
    let places = 8;
    let kept = |place: i32| {
        let sine = 64.0 + f64::from(place) / f64::from(places);
        let band = BinRange::new(sine - bins / 2.0, sine + bins / 2.0);
        let share = |bin: usize| {
            let away = (bin as f64 - sine) / fft_len as f64;
            band.weight(bin) * window::response(&shape, away) / fft_len as f64
        };
        (band.first..=band.last).map(share).sum::<f64>()
    };
    let least = (0..places).map(kept).fold(1.0, f64::min);
    -10.0 * libm::log10(least)
}
