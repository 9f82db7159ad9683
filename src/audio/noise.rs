//! Noise that is the same every time: a small generator with a seed, white and pink.

use std::f64::consts::TAU;

/// PCG-XSH-RR 64/32: a 64-bit linear congruential generator whose output is permuted.
///
/// Source: M. E. O'Neill, "PCG: A Family of Simple Fast Space-Efficient Statistically Good
/// Algorithms for Random Number Generation", Harvey Mudd College report HMC-CS-2014-0905, 2014.
#[derive(Debug, Clone)]
pub struct Pcg32 {
    state: u64,
    increment: u64,
}

impl Pcg32 {
    /// A generator at `seed` of sequence `sequence`; each sequence is another stream of numbers.
    pub fn new(seed: u64, sequence: u64) -> Self {
        let mut new = Self { state: 0, increment: (sequence << 1) | 1 };
        new.next_bits();
        new.state = new.state.wrapping_add(seed);
        new.next_bits();
        new
    }

    /// The next 32 bits.
    pub fn next_bits(&mut self) -> u32 {
        let old = self.state;
        self.state = old.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(self.increment);
        low_half(((old >> 18) ^ old) >> 27).rotate_right(low_half(old >> 59))
    }

    /// The next number, spread evenly from -1 (included) to 1 (not included).
    pub fn next_bipolar(&mut self) -> f64 {
        f64::from(self.next_bits()) / f64::from(1_u32 << 31) - 1.0
    }

    /// The next number, spread evenly, with a mean square of 1.
    fn next_unit_power(&mut self) -> f64 {
        // An even spread over -a to a has the mean square a^2 / 3.
        self.next_bipolar() * libm::sqrt(3.0)
    }
}

fn low_half(bits: u64) -> u32 {
    let [a, b, c, d, ..] = bits.to_le_bytes();
    u32::from_le_bytes([a, b, c, d])
}

/// White noise, spread evenly over -peak to peak.
#[derive(Debug, Clone)]
pub struct White {
    generator: Pcg32,
    peak: f64,
}

impl White {
    /// The noise of a seed.
    pub fn new(seed: u64, peak: f64) -> Self {
        Self { generator: Pcg32::new(seed, 0), peak }
    }

    /// The next sample.
    pub fn next_sample(&mut self) -> f64 {
        self.generator.next_bipolar() * self.peak
    }
}

/// Pink noise: equal power in every octave.
///
/// The sum of independent white noises, one as it is and thirteen through one-pole low-passes whose
/// corners lie an octave apart, from a quarter of the sampling rate downwards. Each corner an octave
/// lower gets twice the power density, so that the sum of the spectra 1/(1 + (f/corner)^2) falls
/// like 1/f with a ripple that cannot be seen. The share of the unfiltered noise makes up for the
/// corners that would lie above half the sampling rate; it was chosen for the smallest deviation.
/// From 1/2400 to 1/3 of the sampling rate (20 Hz to 16 kHz at 48 kHz) the density is within
/// +-0.2 dB of 1/f.
#[derive(Debug, Clone)]
pub struct Pink {
    white: Pcg32,
    voices: [Voice; VOICES],
    gain: f64,
}

const VOICES: usize = 13;

/// Power density of the unfiltered noise; the voice with corner `rate / 2^k` has `2^k` at 0 Hz.
const UNFILTERED: f64 = 1.7;

#[derive(Debug, Clone)]
struct Voice {
    generator: Pcg32,
    /// Amplitude at 0 Hz.
    gain: f64,
    /// What the low-pass keeps from sample to sample.
    pole: f64,
    value: f64,
}

impl Voice {
    fn new(octave: u32, seed: u64) -> Self {
        let octaves = f64::from(octave);
        let pole = libm::exp(-TAU * libm::exp2(-octaves));
        let mut generator = Pcg32::new(seed, u64::from(octave));
        // Starting with the power it settles at, so that the first second is as pink as the rest.
        let value = generator.next_unit_power() * libm::sqrt((1.0 - pole) / (1.0 + pole));
        Self { generator, gain: libm::exp2(octaves / 2.0), pole, value }
    }

    fn next_sample(&mut self) -> f64 {
        let white = self.generator.next_unit_power();
        self.value = white + (self.value - white) * self.pole;
        self.value * self.gain
    }

    /// Mean square.
    fn power(&self) -> f64 {
        self.gain * self.gain * (1.0 - self.pole) / (1.0 + self.pole)
    }
}

impl Pink {
    /// The noise of a seed, with this root mean square over a long time.
    pub fn new(seed: u64, rms: f64) -> Self {
        let mut octave = 1;
        let voices = std::array::from_fn(|_| {
            octave += 1;
            Voice::new(octave, seed)
        });
        let power = UNFILTERED + voices.iter().map(Voice::power).sum::<f64>();
        Self { white: Pcg32::new(seed, 0), voices, gain: rms / libm::sqrt(power) }
    }

    /// The next sample.
    pub fn next_sample(&mut self) -> f64 {
        let white = self.white.next_unit_power() * libm::sqrt(UNFILTERED);
        (white + self.voices.iter_mut().map(Voice::next_sample).sum::<f64>()) * self.gain
    }
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use rustfft::FftPlanner;
    use rustfft::num_complex::Complex;

    use super::*;

    /// The six numbers that the demonstration program of the PCG paper's C library prints for
    /// seed 42, sequence 54 (from memory).
    #[test]
    fn the_generator_gives_the_published_numbers() {
        let mut generator = Pcg32::new(42, 54);
        let published =
            [0xa15c_02b7, 0x7b47_f409, 0xba1d_3330, 0x83d2_f293, 0xbfa4_784b, 0xcbed_606e];
        assert_eq!(published.map(|_| generator.next_bits()), published);
    }

    /// The spectrum by the formula of each part: exact, no chance involved.
    fn density(pink: &Pink, cycles_per_sample: f64) -> f64 {
        let turn = 2.0 * libm::cos(TAU * cycles_per_sample);
        let voice = |v: &Voice| {
            let low_pass =
                (1.0 - v.pole) * (1.0 - v.pole) / (1.0 - v.pole * turn + v.pole * v.pole);
            v.gain * v.gain * low_pass
        };
        UNFILTERED + pink.voices.iter().map(voice).sum::<f64>()
    }

    #[test]
    fn the_density_falls_like_one_over_f_within_a_fifth_of_a_db() {
        let pink = Pink::new(1, 1.0);
        let levels: Vec<f64> = (0..=200)
            .map(|i| 20.0 * libm::pow(800.0, f64::from(i) / 200.0) / 48_000.0)
            .map(|f| 10.0 * libm::log10(density(&pink, f) * f))
            .collect();
        let (low, high) =
            levels.iter().fold((f64::MAX, f64::MIN), |(l, h), &x| (l.min(x), h.max(x)));
        assert!(high - low < 0.4, "from {low:.2} to {high:.2} dB");
    }

    /// The samples against the formula: octave bands of 43 s at 48 kHz, mid frequencies of
    /// IEC 61260-1 (base ten). An octave at 31.6 Hz holds about 970 independent values, which puts
    /// a standard deviation of 0.14 dB on its level.
    #[test]
    fn octave_bands_of_the_samples_carry_equal_power() {
        const N: usize = 1 << 21;
        let mut pink = Pink::new(7, 0.1);
        let mut spectrum: Vec<Complex<f64>> =
            (0..N).map(|_| Complex::new(pink.next_sample(), 0.0)).collect();
        let power = spectrum.iter().map(|z| z.norm_sqr()).sum::<f64>() / N as f64;
        assert!((libm::sqrt(power) / 0.1 - 1.0).abs() < 0.05, "rms {}", libm::sqrt(power));
        FftPlanner::new().plan_fft_forward(N).process(&mut spectrum);
        let bin =
            |hz: f64| (0..N / 2).take_while(|&k| (k as f64) * 48_000.0 < hz * N as f64).count();
        let levels: Vec<f64> = (-5..=4)
            .map(|x| 1000.0 * libm::pow(10.0, 0.3 * f64::from(x)))
            .map(|mid| (bin(mid / libm::pow(10.0, 0.15)), bin(mid * libm::pow(10.0, 0.15))))
            .map(|(from, to)| spectrum[from..to].iter().map(|z| z.norm_sqr()).sum::<f64>())
            .map(|power| 10.0 * libm::log10(power))
            .collect();
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        for (octave, level) in levels.iter().enumerate() {
            assert!((level - mean).abs() < 0.5, "octave {octave}: {:.2} dB off", level - mean);
        }
    }
}
