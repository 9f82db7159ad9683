//! Every event is found, in time, and known soon. The limits are common practice, no source: they
//! stand a little below what was measured when they were written.

use coilscore::analysis::onset::{Hearing, Kind};

use crate::score::{f_measure, median_late_ms, pairs, quantile};
use crate::songs::{Song, drums, mixed, plucked};
use crate::{hear, times};

const RATE_HZ: u32 = 44_100;

fn check(name: &str, song: &Song, rate_hz: u32, hearing: Hearing, least: f64) {
    let events = hear(&song.samples, rate_hz, hearing);
    let found = times(&events, Kind::Onset);
    for window_s in [0.05, 0.025] {
        let f = f_measure(&song.onsets, &found, window_s);
        assert!(f >= least, "{name}, {hearing:?}: F {f:.3} within {window_s} s");
    }
    let late_ms = median_late_ms(&song.onsets, &found);
    assert!(late_ms.abs() < 5.0, "{name}, {hearing:?}: {late_ms} ms off");
}

#[test]
fn onsets_of_drums_strings_and_both() {
    for hearing in [Hearing::AsLive, Hearing::LookAhead] {
        check("drums 118", &drums(118.0, 20.0, RATE_HZ, 1), RATE_HZ, hearing, 0.97);
        check("drums 171", &drums(171.0, 20.0, RATE_HZ, 2), RATE_HZ, hearing, 0.97);
        check("strings", &plucked(20.0, RATE_HZ, 3), RATE_HZ, hearing, 0.97);
        check("mixed", &mixed(96.0, 20.0, RATE_HZ, 4), RATE_HZ, hearing, 0.94);
    }
}

#[test]
fn onsets_in_noise_and_in_a_quiet_recording() {
    let song = || mixed(104.0, 20.0, RATE_HZ, 5);
    for hearing in [Hearing::AsLive, Hearing::LookAhead] {
        check("10 dB above noise", &song().with_noise(10.0), RATE_HZ, hearing, 0.88);
        check("30 dB down", &song().louder(-30.0), RATE_HZ, hearing, 0.94);
    }
}

#[test]
fn onsets_at_every_sampling_rate() {
    for rate_hz in [8_000, 22_050, 48_000, 96_000, 192_000] {
        for hearing in [Hearing::AsLive, Hearing::LookAhead] {
            let name = format!("drums at {rate_hz} Hz");
            check(&name, &drums(110.0, 10.0, rate_hz, 6), rate_hz, hearing, 0.9);
        }
    }
}

/// A quiet recording gives the same events as a loud one.
#[test]
fn level_does_not_matter() {
    let loud = mixed(122.0, 20.0, RATE_HZ, 7);
    let found = times(&hear(&loud.samples, RATE_HZ, Hearing::AsLive), Kind::Onset);
    for gain_db in [-10.0, -20.0, -30.0] {
        let quiet = mixed(122.0, 20.0, RATE_HZ, 7).louder(gain_db);
        let again = times(&hear(&quiet.samples, RATE_HZ, Hearing::AsLive), Kind::Onset);
        let f = f_measure(&found, &again, 0.005);
        assert!(f > 0.98, "{gain_db} dB: {f}");
    }
}

#[test]
fn live_events_are_known_soon() {
    let song = mixed(96.0, 30.0, RATE_HZ, 8);
    let events = hear(&song.samples, RATE_HZ, Hearing::AsLive);
    let known: Vec<f64> =
        events.iter().filter(|e| e.kind == Kind::Onset).map(|e| e.emitted_s).collect();
    let after: Vec<f64> =
        pairs(&song.onsets, &known, 0.05).iter().map(|(t, known)| 1e3 * (known - t)).collect();
    let (median_ms, late_ms) = (quantile(after.clone(), 0.5), quantile(after, 0.95));
    assert!(median_ms < 12.0 && late_ms < 16.0, "{median_ms} ms, 95 % within {late_ms} ms");
    assert!(events.iter().all(|event| event.emitted_s >= event.time_s));
}

#[test]
fn strokes_are_told_apart() {
    for hearing in [Hearing::AsLive, Hearing::LookAhead] {
        let (alone, mix) = (drums(118.0, 20.0, RATE_HZ, 9), mixed(118.0, 20.0, RATE_HZ, 10));
        for (name, song, least) in [("alone", alone, 0.98), ("mixed", mix, 0.93)] {
            let events = hear(&song.samples, RATE_HZ, hearing);
            for (kind, truth) in
                [(Kind::Kick, song.kicks), (Kind::Snare, song.snares), (Kind::Hat, song.hats)]
            {
                let f = f_measure(&truth, &times(&events, kind), 0.05);
                assert!(f >= least, "{kind} {name}, {hearing:?}: {f:.3}");
            }
        }
    }
}
