//! Where nothing begins, nothing is found.

use coilscore::analysis::onset::{Event, Hearing, Kind};
use coilscore::audio::tone;

use crate::{hear, songs, times};

const RATE_HZ: u32 = 44_100;
const SECONDS: f64 = 20.0;

fn count(sound: &[f32], hearing: Hearing) -> usize {
    times(&hear(sound, RATE_HZ, hearing), Kind::Onset).len()
}

#[test]
fn silence_noise_hum_swells_and_sweeps_hold_no_event() {
    let instants = songs::instants(SECONDS, RATE_HZ);
    let sounds = [
        ("silence", tone::silence(instants), 0),
        ("a constant", vec![0.25; instants], 0),
        ("hiss at -80 dBFS", tone::white_noise(4, 1.7e-4, instants), 0),
        ("hum", songs::hum(SECONDS, RATE_HZ), 0),
        ("a swelling chord", songs::swelling_chord(SECONDS, RATE_HZ), 0),
        ("a sweep", songs::sweep(SECONDS, RATE_HZ), 1),
        ("pink noise", songs::pink(SECONDS, RATE_HZ, 0.03), 1),
        ("faint pink noise", songs::pink(SECONDS, RATE_HZ, 0.001), 1),
    ];
    let mut faults = Vec::new();
    for (name, sound, most) in &sounds {
        for hearing in [Hearing::AsLive, Hearing::LookAhead, Hearing::WholeSong] {
            let events = hear(sound, RATE_HZ, hearing);
            let found = times(&events, Kind::Onset).len();
            // A likeliest row of beats can be laid through anything: it must not be called a pulse.
            let sure = if hearing == Hearing::WholeSong { 0.0 } else { 0.1 };
            let beats = |event: &&Event| event.kind == Kind::Beat && event.strength >= sure;
            let beats = events.iter().filter(beats).count();
            if found > *most || beats > 0 {
                faults.push(format!("{name}, {hearing:?}: {found} events, {beats} beats"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// What sounds from the start on did not begin there, even if a window needs some looks to fill and
/// the cut was softened over 5 ms.
#[test]
fn noise_from_the_start_holds_no_event() {
    for (seed, rms) in [(21, 0.03), (22, 0.03), (23, 0.1), (24, 0.003), (25, 0.01), (26, 0.1)] {
        let mut sound = tone::pink_noise(seed, rms, songs::instants(2.0, RATE_HZ));
        for (n, sample) in sound.iter_mut().take(songs::instants(0.005, RATE_HZ)).enumerate() {
            *sample *= n as f32 / (0.005 * RATE_HZ as f32);
        }
        for hearing in [Hearing::AsLive, Hearing::LookAhead] {
            assert_eq!(count(&sound, hearing), 0, "seed {seed}, {hearing:?}");
        }
    }
}

/// A burst of noise out of silence, loud or faint.
#[test]
fn one_burst_is_one_event() {
    for peak in [0.4, 0.1] {
        let mut sound = tone::silence(2 * RATE_HZ as usize);
        let tick: Vec<f32> = tone::white_noise(9, peak, 6000)
            .iter()
            .enumerate()
            .map(|(n, x)| x * (-(n as f32) / 1500.0).exp())
            .collect();
        tone::mix_in(&mut sound, &tick, RATE_HZ as usize);
        for hearing in [Hearing::AsLive, Hearing::LookAhead] {
            let found = times(&hear(&sound, RATE_HZ, hearing), Kind::Onset);
            assert_eq!(found.len(), 1, "{peak}, {hearing:?}: {found:?}");
            assert!((found[0] - 1.0).abs() < 0.012, "{peak}, {hearing:?}: {found:?}");
        }
    }
}
