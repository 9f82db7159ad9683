//! Windowed transforms of pairs of channels, and the powers of what the bands listen to.
//!
//! Two channels cost one complex transform: of z = a + ib, with Z(k) and the conjugate of Z(-k)
//! written P and Q, a is (P + Q) / 2 and ib is (P - Q) / 2 at bin k. Each is formed before it is
//! squared; taking powers first and subtracting them would leave 70 dB of the louder channel in
//! the other.

use super::bands::{Piece, View};
use super::inlet::Layout;
use super::ladder::{Ladder, Rates};
use super::tally::{BinRange, Tally};
use super::{Arith, BandRequest, Channel, Reading, window};
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner, FftPlannerScalar};
use std::sync::Arc;

/// Makes transforms in the chosen arithmetic.
pub(super) enum Planner {
    Native(FftPlanner<f32>),
    Portable(FftPlannerScalar<f32>),
}

impl Planner {
    pub(super) fn new(arith: Arith) -> Self {
        match arith {
            Arith::Native => Self::Native(FftPlanner::new()),
            Arith::Portable => Self::Portable(FftPlannerScalar::new()),
        }
    }

    pub(super) fn plan(&mut self, len: usize) -> Arc<dyn Fft<f32>> {
        match self {
            Self::Native(planner) => planner.plan_fft_forward(len),
            Self::Portable(planner) => planner.plan_fft_forward(len),
        }
    }
}

/// One view of the sound: all bands that look through the same window at the same level.
pub(super) struct Spectrum {
    pub(super) view: View,
    /// Which of the ladder's rates.
    divisions: usize,
    window: Vec<f32>,
    fft: Arc<dyn Fft<f32>>,
    bins: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// Powers of every channel that some band here listens to.
    parts: Vec<Part>,
    layout: Layout,
}

/// Powers of one channel.
struct Part {
    channel: Channel,
    /// Bins that some band needs.
    first: usize,
    last: usize,
    powers: Vec<f32>,
    /// Turns a sum of powers into a mean square relative to that of a full-scale sine.
    scale: f64,
}

impl Spectrum {
    pub(super) fn new(planner: &mut Planner, view: View, rates: Rates, layout: Layout) -> Self {
        let (rise, fall) = view.halves(rates.rate_hz(view.level));
        let shape = window::half_hanns(rise, fall);
        let fft_len = View::fft_len(shape.len());
        let fft = planner.plan(fft_len);
        #[expect(clippy::cast_possible_truncation, reason = "spectra are single precision")]
        let window = shape.iter().map(|&w| w as f32).collect();
        Self {
            view,
            divisions: rates.divisions(view.level),
            window,
            bins: vec![Complex32::default(); fft_len],
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            parts: Vec::new(),
            layout,
        }
    }

    fn fft_len(&self) -> usize {
        self.bins.len()
    }

    /// Instants of sound it looks at.
    pub(super) fn window_len(&self) -> usize {
        self.window.len()
    }

    pub(super) fn divisions(&self) -> usize {
        self.divisions
    }

    /// How a piece is read here, in the spectrum with this number; `None` when it lies above the
    /// sound.
    pub(super) fn reading(
        &mut self,
        number: usize,
        rates: Rates,
        piece: &Piece,
        request: &BandRequest,
    ) -> Option<Reading> {
        let range = BinRange::of_piece(rates, piece, self.fft_len())?;
        let bin_hz = rates.rate_hz(self.view.level) / self.fft_len() as f64;
        let tally = Tally::new(range, bin_hz, piece, request.weighting);
        Some(Reading { spectrum: number, part: self.want(request.channel, range), tally })
    }

    /// Makes sure that `channel` is known over `range`; returns the number of its part.
    fn want(&mut self, channel: Channel, range: BinRange) -> usize {
        if let Some((index, part)) =
            self.parts.iter_mut().enumerate().find(|(_, part)| part.channel == channel)
        {
            part.first = part.first.min(range.first);
            part.last = part.last.max(range.last);
            return index;
        }
        let energy: f64 = self.window.iter().map(|&w| f64::from(w) * f64::from(w)).sum();
        // Mean square = 2 sum |X|^2 / (length x window energy): the energy form, true for noise
        // and for a sine between bins. A full-scale sine has mean square 1/2, hence 4.
        let scale = 4.0 / (self.fft_len() as f64 * energy) / unscaled(channel, self.layout);
        let powers = vec![0.0; self.fft_len() / 2 + 1];
        self.parts.push(Part { channel, first: range.first, last: range.last, powers, scale });
        self.parts.len() - 1
    }

    /// Takes the spectra of what the ladders hold now.
    pub(super) fn update(&mut self, ladders: &[Ladder]) {
        let pairs = if self.hears_all() { ladders.len() } else { 1 };
        for (number, ladder) in ladders.iter().take(pairs).enumerate() {
            self.transform(ladder);
            let first_pair = number == 0;
            for part in &mut self.parts {
                if part.channel == Channel::All {
                    part.add_pair(&self.bins, first_pair);
                } else if first_pair {
                    part.set_channel(&self.bins, self.layout);
                }
            }
        }
    }

    /// Mean square of what a tally counts, relative to a full-scale sine.
    pub(super) fn power(&self, part: usize, tally: &Tally) -> f64 {
        self.parts.get(part).map_or(0.0, |part| tally.of(&part.powers) * part.scale)
    }

    fn hears_all(&self) -> bool {
        self.parts.iter().any(|part| part.channel == Channel::All)
    }

    fn transform(&mut self, ladder: &Ladder) {
        let sound = ladder.last(self.divisions, self.window.len());
        let (heard, padding) = self.bins.split_at_mut(self.window.len());
        for ((bin, w), pair) in heard.iter_mut().zip(&self.window).zip(sound.chunks_exact(2)) {
            if let &[a, b] = pair {
                *bin = Complex32::new(w * a, w * b);
            }
        }
        padding.fill(Complex32::default());
        self.fft.process_with_scratch(&mut self.bins, &mut self.scratch);
    }
}

/// By what the powers below are too large.
fn unscaled(channel: Channel, layout: Layout) -> f64 {
    match channel {
        Channel::All => 2.0 * layout.counted() as f64,
        Channel::Left | Channel::Right => 4.0,
        Channel::Mid | Channel::Side => 16.0,
    }
}

impl Part {
    /// Adds |P|^2 + |Q|^2 = 2 (|a|^2 + |b|^2).
    fn add_pair(&mut self, bins: &[Complex32], first_pair: bool) {
        self.each(bins, |power, p, q| {
            let both = p.norm_sqr() + q.norm_sqr();
            *power = if first_pair { both } else { *power + both };
        });
    }

    fn set_channel(&mut self, bins: &[Complex32], layout: Layout) {
        match self.channel {
            Channel::All => {}
            Channel::Left => self.each(bins, |power, p, q| *power = (p + q).norm_sqr()),
            Channel::Right => self.each(bins, |power, p, q| *power = (p - q).norm_sqr()),
            Channel::Mid => self.each(bins, |power, p, q| {
                *power = ((p + q) + turned(p - q)).norm_sqr();
            }),
            // The two halves of a mono sound cancel; what rounding leaves is not asked.
            Channel::Side if layout.is_mono() => {}
            Channel::Side => self.each(bins, |power, p, q| {
                *power = ((p + q) - turned(p - q)).norm_sqr();
            }),
        }
    }

    /// Calls `set` for every needed bin with its power, P and Q.
    fn each(&mut self, bins: &[Complex32], set: impl Fn(&mut f32, Complex32, Complex32)) {
        if let (0, Some(power), Some(p)) = (self.first, self.powers.first_mut(), bins.first()) {
            // Bin 0 is its own mirror image; all others pair up with the far end.
            set(power, *p, p.conj());
        }
        let (first, last) = (self.first.max(1), self.last.min(self.powers.len() - 1));
        let powers = self.powers.get_mut(first..=last).unwrap_or_default();
        let up = bins.get(first..=last).unwrap_or_default();
        let down = bins.get(bins.len() - last..=bins.len() - first).unwrap_or_default();
        for ((power, p), q) in powers.iter_mut().zip(up).zip(down.iter().rev()) {
            set(power, *p, q.conj());
        }
    }
}

/// b from ib.
fn turned(ib: Complex32) -> Complex32 {
    Complex32::new(ib.im, -ib.re)
}
