//! Long spectra: mains hum stands still while music moves.
//!
//! Spectra of four seconds tell 50 Hz from the bass note G1 (49.0 Hz). Per bin the quieter
//! quarter of the spectra counts, which leaves what is there all the time; a harmonic is heard when it
//! stands far above its neighbours.

use std::sync::Arc;

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use serde::Serialize;

/// Mains frequencies that occur (IEC 60038).
pub const MAINS_HZ: [f64; 2] = [50.0, 60.0];

/// Length of a spectrum, s.
const WINDOW_S: u32 = 4;

/// Up to here bins are kept one by one.
const KEPT_HZ: f64 = 650.0;

/// Harmonics that are looked for.
const HARMONICS: u32 = 10;

/// A harmonic counts when it stands this far above the bins beside it, dB. Noise alone stays
/// below: the quieter quarter of some ten spectra scatters by about 3 dB.
const ABOVE_DB: f64 = 12.0;

/// A harmonic that comes and goes by more than this is music, dB.
const STEADY_DB: f64 = 3.0;

/// Hum below this is of no consequence to a display, dBFS.
const LEAST_DBFS: f64 = -95.0;

/// Mains hum.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hum {
    /// The mains frequency, Hz.
    pub mains_hz: f64,
    /// Harmonics that stand out, 1 being the mains frequency.
    pub harmonics: Vec<u32>,
    /// Their levels added up, dBFS as in AES17.
    pub dbfs: f64,
    /// True when the even harmonics carry more than the odd ones: a rectifier's ripple rather than
    /// a magnetic or ground-loop pick-up.
    pub mostly_even: bool,
}

/// Collects four-second spectra, half overlapped.
pub(super) struct LongSpectra {
    rate_hz: u32,
    window: Vec<f32>,
    fft: Arc<dyn Fft<f32>>,
    gathered: Vec<Complex32>,
    work: Vec<Complex32>,
    scratch: Vec<Complex32>,
    /// One row a spectrum: mean square of each kept bin relative to a full-scale sine.
    rows: Vec<Vec<f32>>,
    /// Mean squares a bin of two wide stretches, added up over the spectra.
    wide: [f64; 2],
}

/// Stretches whose levels tell a voice band: below and above its upper end, Hz.
const STRETCHES_HZ: [(f64, f64); 2] = [(1_500.0, 3_200.0), (9_000.0, 14_000.0)];

impl LongSpectra {
    pub(super) fn new(rate_hz: u32) -> Self {
        let len = (rate_hz * WINDOW_S) as usize;
        let fft = FftPlanner::new().plan_fft_forward(len);
        let turn = std::f64::consts::TAU / len as f64;
        #[expect(clippy::cast_possible_truncation, reason = "the nearest f32 is what is wanted")]
        let hann = |n: usize| (0.5 - 0.5 * libm::cos(turn * n as f64)) as f32;
        Self {
            rate_hz,
            window: (0..len).map(hann).collect(),
            gathered: Vec::with_capacity(len),
            work: vec![Complex32::default(); len],
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            rows: Vec::with_capacity(32),
            wide: [0.0; 2],
        }
    }

    /// One instant; mono comes with 0 on the right.
    pub(super) fn push(&mut self, left: f32, right: f32) {
        self.gathered.push(Complex32::new(left, right));
        if self.gathered.len() == self.window.len() {
            self.transform();
            self.gathered.drain(..self.window.len() / 2);
        }
    }

    /// Both channels in one transform: their powers add up to the mean of both sides.
    fn transform(&mut self) {
        for ((work, sound), weight) in self.work.iter_mut().zip(&self.gathered).zip(&self.window) {
            *work = sound * weight;
        }
        self.fft.process_with_scratch(&mut self.work, &mut self.scratch);
        let kept = self.bin(KEPT_HZ);
        let row = (0..=kept).map(|bin| self.power(bin)).collect();
        self.rows.push(row);
        let wide = STRETCHES_HZ.map(|(low, high)| {
            let bins = self.bin(low)..self.bin(high);
            let count = bins.len().max(1) as f64;
            bins.map(|bin| f64::from(self.power(bin))).sum::<f64>() / count
        });
        self.wide = [self.wide[0] + wide[0], self.wide[1] + wide[1]];
    }

    /// Mean square at a bin, both channels added, relative to a full-scale sine in one.
    fn power(&self, bin: usize) -> f32 {
        let len = self.work.len();
        let at = |bin: usize| self.work.get(bin % len.max(1)).map_or(0.0, Complex32::norm_sqr);
        // A full-scale sine gives len/4 through a Hann window, on either side.
        let full = len as f32 / 4.0;
        (at(bin) + at(len - bin.min(len))) / 2.0 / (full * full)
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a frequency below half the rate"
    )]
    fn bin(&self, hz: f64) -> usize {
        let most = f64::from(self.rate_hz) / 2.0;
        (hz.min(most) * f64::from(WINDOW_S)).round() as usize
    }

    /// Level of the band above a voice band's upper end against the one below, dB per bin; `None`
    /// when the rate does not reach that far or nothing was heard.
    pub(super) fn top_against_middle_db(&self) -> Option<f64> {
        let reaches = f64::from(self.rate_hz) / 2.0 > STRETCHES_HZ[1].1;
        let [middle, top] = self.wide;
        let heard = self.rows.len() as f64 * 1e-14;
        (reaches && middle > heard).then(|| 10.0 * libm::log10(top.max(middle * 1e-12) / middle))
    }

    /// The hum that was there all the time.
    pub(super) fn hum(&self) -> Option<Hum> {
        if self.rows.len() < 3 {
            return None;
        }
        let [steady, loud] = self.quarters();
        let found = MAINS_HZ.iter().filter_map(|&mains_hz| self.series(&steady, &loud, mains_hz));
        found.max_by(|a, b| a.dbfs.total_cmp(&b.dbfs))
    }

    /// Per bin: what the quietest quarter of the spectra stays under, and the loudest stays over.
    fn quarters(&self) -> [Vec<f64>; 2] {
        let bins = self.rows.first().map_or(0, Vec::len);
        let mut quarters = [Vec::with_capacity(bins), Vec::with_capacity(bins)];
        let mut column = Vec::with_capacity(self.rows.len());
        for bin in 0..bins {
            column.clear();
            column.extend(self.rows.iter().filter_map(|row| row.get(bin).copied()));
            column.sort_by(f32::total_cmp);
            let quarter = column.len() / 4;
            for (values, at) in
                quarters.iter_mut().zip([quarter, column.len().saturating_sub(1 + quarter)])
            {
                values.push(column.get(at).copied().map_or(0.0, f64::from));
            }
        }
        quarters
    }

    fn series(&self, steady: &[f64], loud: &[f64], mains_hz: f64) -> Option<Hum> {
        let mut harmonics = Vec::new();
        let mut sides = [0.0, 0.0];
        for number in 1..=HARMONICS {
            let hz = mains_hz * f64::from(number);
            let Some(power) = self.harmonic(steady, loud, hz, number) else {
                continue;
            };
            harmonics.push(number);
            if let Some(side) = sides.get_mut((number % 2) as usize) {
                *side += power;
            }
        }
        let [even, odd] = sides;
        let dbfs = 10.0 * libm::log10((even + odd).max(1e-18));
        // One steady tone alone is a note or a test tone.
        (harmonics.len() >= 2 && harmonics.first().is_some_and(|&first| first <= 2))
            .then_some(Hum { mains_hz, harmonics, dbfs, mostly_even: even > odd })
            .filter(|hum| hum.dbfs > LEAST_DBFS)
    }

    /// Power of a harmonic that stands out, with the two bins beside its peak that a Hann window
    /// spreads it over.
    fn harmonic(&self, steady: &[f64], loud: &[f64], hz: f64, number: u32) -> Option<f64> {
        // Grids stay within 0.1 %; a bin is a quarter of a hertz.
        let near = 1 + (number as usize) / 5;
        let middle = self.bin(hz);
        let lowest = middle.saturating_sub(near);
        let around = steady.get(lowest..=middle + near)?;
        let (peak, height) = (lowest..).zip(around).max_by(|a, b| a.1.total_cmp(b.1))?;
        let beside = |from: usize, to: usize| steady.get(from..to).unwrap_or(&[]);
        let mut sides: Vec<f64> = [
            beside(middle.saturating_sub(20), middle.saturating_sub(6)),
            beside(middle + 7, middle + 21),
        ]
        .concat();
        sides.sort_by(f64::total_cmp);
        let level = sides.get(sides.len() / 2).copied().unwrap_or(0.0).max(1e-16);
        let above_db = 10.0 * libm::log10(height / level);
        let comes_and_goes_db = 10.0 * libm::log10(loud.get(peak).copied()? / height.max(1e-18));
        let spread: f64 = beside(peak.saturating_sub(1), peak + 2).iter().sum();
        // A Hann window gives a tone 1.5 times its power when the bins are added up.
        (above_db >= ABOVE_DB && comes_and_goes_db <= STEADY_DB).then_some(spread / 1.5)
    }
}
