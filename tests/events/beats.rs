//! Beats, as they come and over the whole song.
//!
//! Scored as in M. Davies, N. Degara and M. Plumbley, "Evaluation methods for musical audio beat
//! tracking algorithms", Queen Mary University of London C4DM-TR-09-06, 2009: F within 70 ms,
//! the first five seconds left out. The limits are common practice, no source.

use coilscore::analysis::Arith;
use coilscore::analysis::onset::{Hearing, Kind, Onsets};
use coilscore::audio::{SampleBlock, SoundFormat};

use crate::score::{f_measure, quantile};
use crate::songs::{Song, drifting_drums, drums, mixed};
use crate::{hear, times};

const RATE_HZ: u32 = 44_100;

/// F, with twice and half the tempo allowed, as the source's AML measures allow them: which of them a
/// listener taps is a matter of taste.
fn f(song: &Song, hearing: Hearing) -> f64 {
    let late = |times: &[f64]| times.iter().copied().filter(|&t| t >= 5.0).collect::<Vec<f64>>();
    let found = late(&times(&hear(&song.samples, RATE_HZ, hearing), Kind::Beat));
    let truth = late(&song.beats);
    let double: Vec<f64> = truth.windows(2).flat_map(|w| [w[0], 0.5 * (w[0] + w[1])]).collect();
    let every_second = |from| truth.iter().skip(from).step_by(2).copied().collect::<Vec<f64>>();
    [truth.clone(), double, every_second(0), every_second(1)]
        .iter()
        .map(|truth| f_measure(truth, &found, 0.07))
        .fold(0.0, f64::max)
}

#[test]
fn steady_and_drifting_songs_keep_their_beat() {
    let songs = [
        ("92", drums(92.0, 25.0, RATE_HZ, 1)),
        ("118", drums(118.0, 25.0, RATE_HZ, 2)),
        ("135, with strings", mixed(135.0, 25.0, RATE_HZ, 3)),
        ("105 rising by 12 %", drifting_drums(105.0, 0.12, 25.0, RATE_HZ, 4)),
        ("128 falling by 12 %", drifting_drums(128.0, -0.12, 25.0, RATE_HZ, 5)),
    ];
    for (name, song) in songs {
        for (hearing, least) in
            [(Hearing::AsLive, 0.85), (Hearing::LookAhead, 0.8), (Hearing::WholeSong, 0.9)]
        {
            let f = f(&song, hearing);
            assert!(f >= least, "{name} beats a minute, {hearing:?}: {f:.3}");
        }
    }
}

/// What a display that has to be told early gets: 200 ms before each beat, where will it be?
#[test]
fn the_next_beat_is_foretold() {
    let song = drums(112.0, 25.0, RATE_HZ, 6);
    let sound = SoundFormat { rate_hz: RATE_HZ, channels: 1 };
    let mut onsets = Onsets::new(sound, Hearing::AsLive, Arith::Portable).unwrap();
    let mut rest = SampleBlock::new(&song.samples, 1).unwrap();
    let mut heard = 0;
    let mut off_ms = Vec::new();
    for &beat in song.beats.iter().filter(|&&beat| beat > 8.0) {
        let until = crate::songs::instants(beat - 0.2, RATE_HZ);
        let (head, tail) = rest.split_at(until - heard);
        onsets.push(head, &mut |_| ());
        (rest, heard) = (tail, until);
        off_ms.push(1e3 * (onsets.tempo().unwrap().next_beat_s() - beat).abs());
    }
    let (median_ms, most_ms) = (quantile(off_ms.clone(), 0.5), quantile(off_ms, 0.95));
    assert!(median_ms < 20.0 && most_ms < 40.0, "{median_ms} ms, 95 % within {most_ms} ms");
}
