//! Made inputs with known faults, and sound ones.

use super::advice::{Advice, advise};
use super::*;
use crate::audio::demo::DemoSong;
use crate::audio::tone::{interleave, mix_in, pink_noise, silence, sine};
use crate::audio::{SampleBlock, Source};

const RATE_HZ: u32 = 44_100;
const LENGTH: usize = 20 * RATE_HZ as usize;

fn listened(rate_hz: u32, channels: u16, sound: &[f32]) -> Findings {
    let mut listening = Listening::new(SoundFormat { rate_hz, channels });
    listening.push(SampleBlock::new(sound, channels).unwrap());
    listening.finish()
}

fn stereo(left: &[f32], right: &[f32]) -> Findings {
    listened(RATE_HZ, 2, &interleave(&[left, right]))
}

/// What an advice says about a topic.
fn about(findings: &Findings, topic: &str) -> Advice {
    advise(findings).into_iter().find(|advice| advice.topic == topic).expect(topic)
}

/// Twenty seconds of a made song, with noise as a line has it.
fn song() -> Vec<f32> {
    let mut song = DemoSong::new();
    assert_eq!(song.format().rate_hz, RATE_HZ);
    let channels = usize::from(song.format().channels);
    let all = crate::audio::collect(&mut song).unwrap();
    let mut left: Vec<f32> = all.chunks_exact(channels).map(|instant| instant[0] * 0.5).collect();
    left.resize(LENGTH, 0.0);
    mix_in(&mut left, &pink_noise(3, 1e-4, LENGTH), 0);
    left
}

fn scaled(sound: &[f32], gain: f32) -> Vec<f32> {
    sound.iter().map(|sample| sample * gain).collect()
}

#[test]
fn a_sound_line_in_is_called_sound() {
    let left = song();
    let mut right = scaled(&left, 0.8);
    mix_in(&mut right, &pink_noise(4, 0.02, LENGTH), 0);
    for advice in advise(&stereo(&left, &right)) {
        assert!(advice.fine, "{}: {}", advice.topic, advice.text);
    }
}

#[test]
fn levels_read_as_in_aes17() {
    // AES17: the level of a full-scale sine is 0 dBFS, for mean square and peak alike.
    let findings = listened(RATE_HZ, 1, &sine(RATE_HZ, 997.0, 0.5, LENGTH));
    let (peak, loud) = (findings.peak_dbfs.unwrap(), findings.loud_dbfs.unwrap());
    assert!((peak + 6.02).abs() < 0.01 && (loud + 6.02).abs() < 0.01, "{peak} {loud}");
}

#[test]
fn home_and_studio_levels_are_told_apart() {
    // 20 log10(1.22765 V / 0.316228 V); the definitions of dBu and dBV.
    let apart = 20.0 * libm::log10(0.774_597 * libm::pow(10.0, 0.2) / libm::pow(10.0, -0.5));
    assert!((apart - advice::PRO_OVER_HOME_DB).abs() < 0.005, "{apart}");
    let song = song();
    let low = about(&stereo(&scaled(&song, 0.02), &scaled(&song, 0.02)), "level");
    assert!(!low.fine && low.text.contains("set the input to -10 dBV"), "{}", low.text);
    let hot: Vec<f32> = song.iter().map(|sample| (sample * 6.0).clamp(-1.0, 1.0)).collect();
    let findings = stereo(&hot, &hot);
    let level = about(&findings, "level");
    assert!(!level.fine && level.text.contains("12 dB pad"), "{}", level.text);
    let clipping = about(&findings, "clipping");
    assert!(!clipping.fine && clipping.text.contains("full scale"), "{}", clipping.text);
}

#[test]
fn silence_is_one_sentence() {
    let advice = advise(&listened(RATE_HZ, 2, &silence(2 * LENGTH)));
    assert_eq!(advice.len(), 1);
    assert!(!advice[0].fine && advice[0].text.starts_with("nothing is heard"));
    assert!(!advise(&Listening::new(SoundFormat { rate_hz: 8_000, channels: 1 }).finish())[0].fine);
}

#[test]
fn tops_cut_before_the_input_are_found_and_round_ones_are_not() {
    let cut: Vec<f32> = song().iter().map(|sample| (sample * 3.0).clamp(-0.4, 0.4)).collect();
    let clipping = about(&listened(RATE_HZ, 1, &cut), "clipping");
    assert!(!clipping.fine && clipping.text.contains("below full scale"), "{}", clipping.text);
    for hz in [31.0, 50.0, 441.0, 3_000.0] {
        let tone = listened(RATE_HZ, 1, &sine(RATE_HZ, hz, 0.7, LENGTH));
        assert_eq!(tone.tops, Tops::default(), "{hz} Hz");
    }
}

#[test]
fn hum_is_found_under_music_at_either_mains_frequency() {
    for (mains, rate_hz) in [(50.02, 48_000_u32), (59.97, 44_100)] {
        let length = 20 * rate_hz as usize;
        let mut sound = pink_noise(9, 0.005, length);
        for (number, peak) in [(1.0, 0.004), (2.0, 0.001), (3.0, 0.002), (5.0, 0.001)] {
            mix_in(&mut sound, &sine(rate_hz, mains * number, peak, length), 0);
        }
        let findings = listened(rate_hz, 1, &sound);
        let hum = findings.hum.clone().unwrap();
        assert!((hum.mains_hz - mains).abs() < 0.1, "{hum:?}");
        assert!(hum.harmonics.contains(&1) && hum.harmonics.contains(&3), "{hum:?}");
        // Sum of squares of the peaks: 22e-6 against 1.
        assert!((hum.dbfs + 46.6).abs() < 1.0 && !hum.mostly_even, "{hum:?}");
        let said = about(&findings, "hum");
        assert!(!said.fine && said.text.contains("never lift the protective earth"));
    }
}

#[test]
fn ripple_of_a_supply_is_told_from_a_ground_loop() {
    let mut sound = pink_noise(9, 0.004, LENGTH);
    for (hz, peak) in [(100.0, 0.004), (200.0, 0.002), (300.0, 0.001), (50.0, 0.0003)] {
        mix_in(&mut sound, &sine(RATE_HZ, hz, peak, LENGTH), 0);
    }
    let findings = listened(RATE_HZ, 1, &sound);
    assert!(findings.hum.as_ref().is_some_and(|hum| hum.mostly_even), "{findings:?}");
    assert!(about(&findings, "hum").text.contains("power supply"));
}

#[test]
fn bass_notes_and_music_are_no_hum() {
    // Equal temperament, A4 = 440 Hz: G1 49.00, B1 61.74, A1 55.00 Hz, held for all 20 s.
    for hz in [48.999, 61.735, 55.0] {
        let mut held = pink_noise(5, 0.001, LENGTH);
        for number in [1.0, 2.0, 3.0, 4.0] {
            mix_in(&mut held, &sine(RATE_HZ, hz * number, 0.1 / number, LENGTH), 0);
        }
        assert_eq!(listened(RATE_HZ, 1, &held).hum, None, "{hz} Hz");
    }
    assert_eq!(listened(RATE_HZ, 1, &song()).hum, None);
    assert_eq!(listened(RATE_HZ, 1, &pink_noise(8, 0.1, LENGTH)).hum, None);
}

#[test]
fn legs_are_judged() {
    let left = song();
    let told = |left: &[f32], right: &[f32]| about(&stereo(left, right), "legs");
    let reversed = told(&left, &scaled(&left, -1.0));
    assert!(!reversed.fine && reversed.text.contains("one leg is reversed"), "{}", reversed.text);
    let dead = told(&left, &silence(LENGTH));
    assert!(!dead.fine && dead.text.starts_with("the right leg carries nothing"), "{}", dead.text);
    let leaking = told(&scaled(&left, 0.005), &left);
    assert!(!leaking.fine && leaking.text.starts_with("the left leg is 46 dB"), "{}", leaking.text);
    let mono = told(&left, &left);
    assert!(mono.fine && mono.text.contains("mono"), "{}", mono.text);
    let uneven = told(&left, &scaled(&left, 0.5));
    assert!(!uneven.fine && uneven.text.contains("+6.0 dB"), "{}", uneven.text);
    let apart = told(&pink_noise(1, 0.1, LENGTH), &pink_noise(2, 0.1, LENGTH));
    assert!(apart.fine, "{}", apart.text);
}

/// Bursts of half a second every two seconds over a floor.
fn bursts(floor: &[f32]) -> Vec<f32> {
    let mut sound = floor.to_vec();
    for start in 0..10 {
        let burst = sine(RATE_HZ, 440.0, 0.3, RATE_HZ as usize / 2);
        mix_in(&mut sound, &burst, start * 2 * RATE_HZ as usize);
    }
    sound
}

#[test]
fn automatic_gain_shows_in_the_pauses() {
    let plain = bursts(&pink_noise(6, 0.002, LENGTH));
    let left_alone = about(&listened(RATE_HZ, 1, &plain), "meddling");
    assert!(left_alone.fine, "{}", left_alone.text);
    // A gain that falls at once on a burst and creeps back at 12 dB a second, up to 30 dB.
    let mut gain_db = 0.0_f64;
    let ridden: Vec<f32> = plain
        .iter()
        .map(|sample| {
            gain_db = (gain_db + 12.0 / f64::from(RATE_HZ)).min(30.0);
            let loud = f64::from(sample.abs()) * libm::pow(10.0, gain_db / 20.0) > 0.35;
            if loud {
                gain_db = 0.0;
            }
            sample * libm::pow(10.0, gain_db / 20.0) as f32
        })
        .collect();
    let findings = listened(RATE_HZ, 1, &ridden);
    let told = about(&findings, "meddling");
    assert!(!told.fine && told.text.contains("automatic gain"), "{findings:?}");
    let rise = findings.meddling.unwrap().floor_rise_db_per_s.unwrap();
    assert!((rise - 12.0).abs() < 2.0, "{rise}");
}

#[test]
fn gates_and_voice_bands_show() {
    let gated = bursts(&silence(LENGTH));
    let told = about(&listened(RATE_HZ, 1, &gated), "meddling");
    assert!(!told.fine && told.text.contains("noise suppression"), "{}", told.text);
    // Through 16 kHz and back by holding samples would image; a tone cluster does as well.
    let mut speech = pink_noise(7, 1e-7, LENGTH);
    for n in 0..40 {
        mix_in(&mut speech, &sine(RATE_HZ, 200.0 + 170.0 * f64::from(n), 0.01, LENGTH), 0);
    }
    let told = about(&listened(RATE_HZ, 1, &speech), "meddling");
    assert!(!told.fine && told.text.contains("above 9 kHz"), "{}", told.text);
    let dull = about(&listened(RATE_HZ, 1, &song()), "meddling");
    assert!(dull.fine, "{}", dull.text);
}

#[test]
fn portions_do_not_matter() {
    let sound = interleave(&[&song(), &pink_noise(2, 0.05, LENGTH)]);
    let whole = listened(RATE_HZ, 2, &sound);
    let mut listening = Listening::new(SoundFormat { rate_hz: RATE_HZ, channels: 2 });
    for portion in sound.chunks(2 * 441) {
        listening.push(SampleBlock::new(portion, 2).unwrap());
    }
    assert_eq!(format!("{whole:?}"), format!("{:?}", listening.finish()));
}

#[test]
fn any_samples_are_survived() {
    let wild = [f32::NAN, f32::INFINITY, -3.0, f32::MAX, 0.0, 1.0];
    let sound: Vec<f32> = wild.iter().copied().cycle().take(9 * 8_000 * 3).collect();
    let findings = listened(8_000, 3, &sound);
    assert!(advise(&findings).len() >= 3);
}
