//! Songs made by arithmetic, every event known to the sample. All sounds and figures invented.

use std::f64::consts::TAU;

use coilscore::audio::noise::{Pcg32, Pink};
use coilscore::audio::tone;

/// A song and its truth, in seconds.
#[derive(Default)]
pub(crate) struct Song {
    pub(crate) samples: Vec<f32>,
    pub(crate) onsets: Vec<f64>,
    pub(crate) kicks: Vec<f64>,
    pub(crate) snares: Vec<f64>,
    pub(crate) hats: Vec<f64>,
    pub(crate) beats: Vec<f64>,
}

impl Song {
    fn silent(seconds: f64, rate_hz: u32) -> Self {
        Self { samples: tone::silence(instants(seconds, rate_hz)), ..Self::default() }
    }

    fn add(&mut self, at_s: f64, sound: &[f32], rate_hz: u32) {
        tone::mix_in(&mut self.samples, sound, instants(at_s, rate_hz));
        // What begins together is one onset.
        if self.onsets.last().is_none_or(|last| at_s - last > 0.03) {
            self.onsets.push(at_s);
        }
    }

    /// Adds pink noise so many dB below the song's mean power.
    pub(crate) fn with_noise(mut self, below_db: f64) -> Self {
        let square: f64 = self.samples.iter().map(|&x| f64::from(x) * f64::from(x)).sum();
        let rms = (square / self.samples.len() as f64).sqrt() * 10_f64.powf(-below_db / 20.0);
        let mut noise = Pink::new(11, rms);
        for sample in &mut self.samples {
            *sample += noise.next_sample() as f32;
        }
        self
    }

    pub(crate) fn louder(mut self, gain_db: f64) -> Self {
        let gain = 10_f64.powf(gain_db / 20.0) as f32;
        self.samples.iter_mut().for_each(|sample| *sample *= gain);
        self
    }
}

pub(crate) fn instants(seconds: f64, rate_hz: u32) -> usize {
    (seconds * f64::from(rate_hz)).round() as usize
}

fn make(seconds: f64, rate_hz: u32, mut sample: impl FnMut(f64) -> f64) -> Vec<f32> {
    (0..instants(seconds, rate_hz)).map(|n| sample(n as f64 / f64::from(rate_hz)) as f32).collect()
}

fn kick(rate_hz: u32, gain: f64) -> Vec<f32> {
    let turns = |t: f64| 50.0 * t + 110.0 * 0.02 * (1.0 - (-t / 0.02).exp());
    make(0.5, rate_hz, |t| gain * (TAU * turns(t)).sin() * (-t / 0.12).exp())
}

fn snare(rate_hz: u32, gain: f64, dice: &mut Pcg32) -> Vec<f32> {
    make(0.3, rate_hz, |t| {
        let body = 0.5 * (TAU * 190.0 * t).sin() * (-t / 0.05).exp();
        gain * (0.6 * dice.next_bipolar() * (-t / 0.07).exp() + body)
    })
}

fn hat(rate_hz: u32, gain: f64, dice: &mut Pcg32) -> Vec<f32> {
    let (mut before, mut older) = (0.0, 0.0);
    make(0.15, rate_hz, |t| {
        let noise = dice.next_bipolar();
        let bright = noise - 2.0 * before + older;
        (older, before) = (before, noise);
        gain * 0.25 * bright * (-t / 0.02).exp()
    })
}

/// A plucked string: eight harmonics, the higher the sooner gone; with a little vibrato.
fn pluck(rate_hz: u32, hz: f64, gain: f64, seconds: f64) -> Vec<f32> {
    make(seconds, rate_hz, |t| {
        let turns = hz * (t + 0.003 / (TAU * 5.5) * (1.0 - (TAU * 5.5 * t).cos()));
        let harmonic = |h: u32| {
            let h = f64::from(h);
            (TAU * h * turns).sin() / h * (-t * (2.0 + 1.5 * h)).exp()
        };
        let ends = (1.0 - (-t / 0.001).exp()) * ((seconds - t) / 0.01).min(1.0);
        0.4 * gain * ends * (1..=8).map(harmonic).sum::<f64>()
    })
}

/// Half-minute drum pattern in eighths: kick, snare and hat, strokes a little uneven in force.
pub(crate) fn drums(bpm: f64, seconds: f64, rate_hz: u32, seed: u64) -> Song {
    drifting_drums(bpm, 0.0, seconds, rate_hz, seed)
}

/// As [`drums`], the tempo rising by so much of itself until the end.
pub(crate) fn drifting_drums(bpm: f64, drift: f64, seconds: f64, rate_hz: u32, seed: u64) -> Song {
    let mut song = Song::silent(seconds, rate_hz);
    let mut dice = Pcg32::new(seed, 1);
    let mut at_s = 0.3;
    for step in 0.. {
        if at_s > seconds - 0.3 {
            break;
        }
        let force = 0.85 + 0.15 * dice.next_bipolar();
        let place = step % 8;
        if place % 2 == 0 {
            song.beats.push(at_s);
        }
        if [0, 3, 4].contains(&place) {
            song.kicks.push(at_s);
            song.add(at_s, &kick(rate_hz, 0.6 * force), rate_hz);
        }
        if [2, 6].contains(&place) {
            song.snares.push(at_s);
            song.add(at_s, &snare(rate_hz, 0.4 * force, &mut dice), rate_hz);
        }
        if place != 7 {
            song.hats.push(at_s);
            song.add(at_s, &hat(rate_hz, 0.15 * force, &mut dice), rate_hz);
        }
        at_s += 30.0 / (bpm * (1.0 + drift * at_s / seconds));
    }
    song
}

/// What a [`groove`] has besides its kick and snare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hats {
    None,
    Eighths,
    Sixteenths,
}

/// Kick on the first and third beat of four, snare on the second and fourth, and hats as said. Strokes
/// a little uneven in force.
pub(crate) fn groove(bpm: f64, hats: Hats, seconds: f64, rate_hz: u32, seed: u64) -> Song {
    let mut song = Song::silent(seconds, rate_hz);
    let mut dice = Pcg32::new(seed, 4);
    let every = match hats {
        Hats::None => 0,
        Hats::Eighths => 2,
        Hats::Sixteenths => 1,
    };
    for step in 0_u32.. {
        let at_s = 0.3 + f64::from(step) * 15.0 / bpm;
        if at_s > seconds - 0.3 {
            break;
        }
        let force = 0.85 + 0.15 * dice.next_bipolar();
        if step % 8 == 0 {
            song.kicks.push(at_s);
            song.add(at_s, &kick(rate_hz, 0.6 * force), rate_hz);
        }
        if step % 8 == 4 {
            song.snares.push(at_s);
            song.add(at_s, &snare(rate_hz, 0.4 * force, &mut dice), rate_hz);
        }
        if step % 4 == 0 {
            song.beats.push(at_s);
        }
        if every > 0 && step % every == 0 {
            song.hats.push(at_s);
            song.add(at_s, &hat(rate_hz, 0.15 * force, &mut dice), rate_hz);
        }
    }
    song
}

/// Notes of a plucked string at uneven times, one after the other or in chords, ringing on.
pub(crate) fn plucked(seconds: f64, rate_hz: u32, seed: u64) -> Song {
    let mut song = Song::silent(seconds, rate_hz);
    let mut dice = Pcg32::new(seed, 2);
    let mut at_s = 0.4;
    while at_s < seconds - 0.5 {
        let voices = if dice.next_bipolar() > 0.4 { 3 } else { 1 };
        let root = 110.0 * ((12.0 * (1.0 + dice.next_bipolar())).floor() / 12.0).exp2();
        let force = 0.7 + 0.3 * dice.next_bipolar();
        for voice in [1.0, 1.25, 1.5].iter().take(voices) {
            song.add(at_s, &pluck(rate_hz, root * voice, 0.5 * force, 1.2), rate_hz);
        }
        at_s += 0.2 + 0.15 * (1.0 + dice.next_bipolar());
    }
    song
}

/// Drums under plucked notes.
pub(crate) fn mixed(bpm: f64, seconds: f64, rate_hz: u32, seed: u64) -> Song {
    let (mut song, notes) = (drums(bpm, seconds, rate_hz, seed), plucked(seconds, rate_hz, seed));
    tone::mix_in(&mut song.samples, &notes.samples, 0);
    let mut all = [song.onsets.as_slice(), &notes.onsets].concat();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|later, earlier| *later - *earlier < 0.05);
    song.onsets = all;
    song
}

/// A chord of bowed harmonics with vibrato that swells and ebbs over seconds: nothing begins.
pub(crate) fn swelling_chord(seconds: f64, rate_hz: u32) -> Vec<f32> {
    make(seconds, rate_hz, |t| {
        let wave = |hz: f64| {
            let turns = hz * (t + 0.004 / (TAU * 5.0) * (TAU * 5.0 * t).sin());
            (1..=5).map(|h| (TAU * f64::from(h) * turns).sin() / f64::from(h)).sum::<f64>()
        };
        let swell = 0.55 - 0.45 * (TAU * t / 10.0).cos();
        let fade = (t / 2.0).min(1.0);
        0.06 * fade * swell * [146.8, 220.0, 277.2].map(wave).iter().sum::<f64>()
    })
}

/// 50 Hz and odd harmonics, faded in, over faint hiss.
pub(crate) fn hum(seconds: f64, rate_hz: u32) -> Vec<f32> {
    let mut dice = Pcg32::new(5, 3);
    make(seconds, rate_hz, |t| {
        let wave = |h: u32| (TAU * 50.0 * f64::from(h) * t).sin() / f64::from(h);
        let fade = (t / 2.0).min(1.0);
        fade * (0.02 * [1, 3, 5, 7].map(wave).iter().sum::<f64>() + 3e-4 * dice.next_bipolar())
    })
}

/// A tone that climbs from 50 Hz to 6 kHz.
pub(crate) fn sweep(seconds: f64, rate_hz: u32) -> Vec<f32> {
    let rise = 120_f64.ln();
    make(seconds, rate_hz, |t| {
        let turns = 50.0 * seconds / rise * ((rise * t / seconds).exp() - 1.0);
        0.3 * (t / 2.0).min(1.0) * (TAU * turns).sin()
    })
}

/// Pink noise, faded in.
pub(crate) fn pink(seconds: f64, rate_hz: u32, rms: f64) -> Vec<f32> {
    let mut noise = Pink::new(21, rms);
    make(seconds, rate_hz, |t| (t / 2.0).min(1.0) * noise.next_sample())
}
