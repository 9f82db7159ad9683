//! Sounds to measure, and one way to measure them.

use coilscore::analysis::{
    Analysis, AnalysisSettings, Arith, BandRequest, Channel, Knowing, Weighting,
};
use coilscore::audio::{SampleBlock, SoundFormat};
use coilscore::units::{Hertz, Rate};

pub(crate) fn band(low_hz: f64, high_hz: f64, channel: Channel) -> BandRequest {
    let weighting = Weighting::None;
    BandRequest { low_hz: Hertz(low_hz), high_hz: Hertz(high_hz), channel, weighting }
}

/// The same with weighting A, all channels.
pub(crate) fn a_band(low_hz: f64, high_hz: f64) -> BandRequest {
    BandRequest { weighting: Weighting::A, ..band(low_hz, high_hz, Channel::All) }
}

pub(crate) fn settings(rate_hz: u32, channels: u16, bands: &[BandRequest]) -> AnalysisSettings {
    AnalysisSettings {
        sound: SoundFormat { rate_hz, channels },
        frame_rate: Rate::new(200, 1).unwrap(),
        bands: bands.to_vec(),
        ears: vec![],
        knowing: Knowing::Nothing,
        quiet_dbfs: None,
        arith: Arith::Portable,
    }
}

/// One frame's answers, kept.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Frame {
    pub(crate) band_dbfs: Vec<f32>,
    pub(crate) top_dbfs: Vec<f32>,
    pub(crate) overall_dbfs: f32,
    pub(crate) quiet: bool,
}

/// Frame k hears exactly the samples n < ceil(k fs / rate).
pub(crate) fn heard_by(frame: u64, rate_hz: u32, frame_rate: Rate) -> usize {
    let (num, den) = frame_rate.ratio();
    (frame * u64::from(rate_hz) * u64::from(den)).div_ceil(u64::from(num)) as usize
}

/// All frames of a sound, pushed in chunks whose lengths `chunk` gives.
pub(crate) fn frames_in_chunks(
    settings: &AnalysisSettings,
    interleaved: &[f32],
    mut chunk: impl FnMut() -> usize,
) -> Vec<Frame> {
    let channels = settings.sound.channels;
    let mut analysis = Analysis::new(settings).unwrap();
    let mut rest = SampleBlock::new(interleaved, channels).unwrap();
    let total = rest.instants();
    let (mut frames, mut done) = (Vec::new(), 0);
    for frame in 0.. {
        let edge = heard_by(frame, settings.sound.rate_hz, settings.frame_rate);
        if edge > total {
            return frames;
        }
        while done < edge {
            let (head, tail) = rest.split_at(chunk().min(edge - done));
            done += head.instants();
            analysis.push(head);
            rest = tail;
        }
        let heard = analysis.measure();
        frames.push(Frame {
            band_dbfs: heard.band_dbfs.to_vec(),
            top_dbfs: heard.top_dbfs.to_vec(),
            overall_dbfs: heard.overall_dbfs,
            quiet: heard.quiet,
        });
    }
    frames
}

pub(crate) fn frames(settings: &AnalysisSettings, interleaved: &[f32]) -> Vec<Frame> {
    frames_in_chunks(settings, interleaved, || usize::MAX)
}

/// Mean power per band over all frames from `skip_s` on, dBFS.
pub(crate) fn mean_dbfs(settings: &AnalysisSettings, interleaved: &[f32], skip_s: f64) -> Vec<f64> {
    let frames = frames(settings, interleaved);
    let skip = (skip_s * settings.frame_rate.per_second()) as usize;
    let used = &frames[skip..];
    let mean = |band: usize| {
        let powers = used.iter().map(|f| 10_f64.powf(f64::from(f.band_dbfs[band]) / 10.0));
        10.0 * (powers.sum::<f64>() / used.len() as f64).log10()
    };
    (0..settings.bands.len()).map(mean).collect()
}

/// `seconds` of a function of time, the same in all channels.
pub(crate) fn sound(
    rate_hz: u32,
    channels: u16,
    seconds: f64,
    wave: impl Fn(f64) -> f64,
) -> Vec<f32> {
    let count = (f64::from(rate_hz) * seconds) as usize;
    (0..count)
        .flat_map(|n| {
            let value = wave(n as f64 / f64::from(rate_hz)) as f32;
            std::iter::repeat_n(value, usize::from(channels))
        })
        .collect()
}

pub(crate) fn sine(hz: f64) -> impl Fn(f64) -> f64 {
    move |t| (std::f64::consts::TAU * hz * t).sin()
}

/// Random numbers for tests: Marsaglia's xorshift (Journal of Statistical Software 8(14), 2003).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    /// Even over -1 to 1: mean square 1/3.
    pub(crate) fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

pub(crate) fn white(seconds: usize, rate: usize) -> Vec<f32> {
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    (0..seconds * rate).map(|_| random.even() as f32).collect()
}

/// Noise at 48 kHz with equal power per octave, made from white by seven first-order sections that
/// together fall by 3 dB an octave; poles and zeros alternate, two to the octave pair, computed
/// here rather than copied: a pole at f, the zero at f times the square root of the spacing.
pub(crate) fn pink(seconds: usize) -> Vec<f32> {
    let rate = 48_000.0;
    let mut samples: Vec<f64> = white(seconds, 48_000).iter().map(|&x| f64::from(x)).collect();
    let mut pole_hz: f64 = 4.0;
    while pole_hz < 20_000.0 {
        let place = |hz: f64| (-std::f64::consts::TAU * hz / rate).exp();
        let (pole, zero) = (place(pole_hz), place(pole_hz * 2.0));
        let (mut x1, mut y1) = (0.0, 0.0);
        for sample in &mut samples {
            let y = *sample - zero * x1 + pole * y1;
            (x1, y1) = (*sample, y);
            *sample = y;
        }
        pole_hz *= 4.0;
    }
    samples.iter().map(|&x| 0.02 * x as f32).collect()
}
