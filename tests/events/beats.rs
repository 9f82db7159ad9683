//! Beats, as they come and over the whole song.
//!
//! Scored as in M. Davies, N. Degara and M. Plumbley, "Evaluation methods for musical audio beat
//! tracking algorithms", Queen Mary University of London C4DM-TR-09-06, 2009: F within 70 ms,
//! the first five seconds left out. The limits are common practice, no source.

use coilscore::analysis::Arith;
use coilscore::analysis::onset::{Hearing, Kind, Onsets};
use coilscore::audio::{SampleBlock, SoundFormat};

use crate::score::{f_measure, pairs, quantile};
use crate::songs::{Song, drifting_drums, drums, instants, mixed};
use crate::{hear, times};

const RATE_HZ: u32 = 44_100;

fn late(times: &[f64]) -> Vec<f64> {
    times.iter().copied().filter(|&t| t >= 5.0).collect()
}

/// F, with twice and half the tempo allowed, as the source's AML measures allow them: which of them a
/// listener taps is a matter of taste.
fn f(song: &Song, hearing: Hearing) -> f64 {
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
        // One of them is followed at half its tempo at first and then at its own.
        for (hearing, least) in
            [(Hearing::AsLive, 0.85), (Hearing::LookAhead, 0.75), (Hearing::WholeSong, 0.9)]
        {
            let f = f(&song, hearing);
            assert!(f >= least, "{name} beats a minute, {hearing:?}: {f:.3}");
        }
    }
}

/// Strokes on every half beat do not make the tempo twice what it is.
#[test]
fn half_beats_are_not_taken_for_beats() {
    for (name, song) in
        [("92", drums(92.0, 25.0, RATE_HZ, 1)), ("96, with strings", mixed(96.0, 25.0, RATE_HZ, 9))]
    {
        let found = late(&times(&hear(&song.samples, RATE_HZ, Hearing::AsLive), Kind::Beat));
        let f = f_measure(&late(&song.beats), &found, 0.07);
        assert!(f >= 0.95, "{name} beats a minute: {f:.3}");
    }
}

/// How far off, in ms, a beat is foretold 200 ms before it comes, for the beats after this time.
fn foretold_off_ms(song: &Song, after_s: f64) -> Vec<f64> {
    let sound = SoundFormat { rate_hz: RATE_HZ, channels: 1 };
    let mut onsets = Onsets::new(sound, Hearing::AsLive, Arith::Portable).unwrap();
    let mut rest = SampleBlock::new(&song.samples, 1).unwrap();
    let mut heard = 0;
    let mut off_ms = Vec::new();
    for &beat in song.beats.iter().filter(|&&beat| beat > after_s) {
        let until = instants(beat - 0.2, RATE_HZ);
        let (head, tail) = rest.split_at(until - heard);
        onsets.push(head, &mut |_| ());
        (rest, heard) = (tail, until);
        off_ms.push(1e3 * (onsets.tempo().unwrap().next_beat_s() - beat).abs());
    }
    off_ms
}

/// What a display that has to be told early gets.
#[test]
fn the_next_beat_is_foretold() {
    for (name, song, median_most_ms, most_ms) in [
        ("steady", drums(112.0, 25.0, RATE_HZ, 6), 5.0, 10.0),
        ("rising by 12 %", drifting_drums(105.0, 0.12, 25.0, RATE_HZ, 4), 10.0, 20.0),
        ("falling by 12 %", drifting_drums(128.0, -0.12, 25.0, RATE_HZ, 5), 10.0, 20.0),
    ] {
        let off_ms = foretold_off_ms(&song, 8.0);
        let (median_ms, late_ms) = (quantile(off_ms.clone(), 0.5), quantile(off_ms, 0.95));
        println!("{name}: foretold within {median_ms:.1} ms, 95 % within {late_ms:.1} ms");
        assert!(median_ms < median_most_ms && late_ms < most_ms, "{name}: {median_ms}, {late_ms}");
    }
}

/// Seconds from the first of these beats to the one from which on eight in a row are told within
/// 70 ms, and nothing between them.
fn locked_after_s(beats: &[f64], found: &[f64]) -> f64 {
    let told = |run: &&[f64]| {
        let span = run[0] - 0.07..=run[7] + 0.07;
        let here: Vec<f64> = found.iter().copied().filter(|at| span.contains(at)).collect();
        here.len() == 8 && pairs(run, &here, 0.07).len() == 8
    };
    let run = beats.windows(8).find(told);
    run.map_or(f64::INFINITY, |run| run[0] - beats[0])
}

/// From the start of a song, and after four seconds of silence in it, at another tempo.
#[test]
fn the_beat_is_soon_found_and_found_again() {
    for (first_bpm, then_bpm) in [(100.0, 120.0), (112.0, 96.0), (126.0, 126.0)] {
        let (mut song, again) =
            (drums(first_bpm, 12.0, RATE_HZ, 7), drums(then_bpm, 14.0, RATE_HZ, 8));
        song.samples.extend(vec![0.0; instants(4.0, RATE_HZ)]);
        song.samples.extend(&again.samples);
        let later: Vec<f64> = again.beats.iter().map(|beat| 16.0 + beat).collect();
        let found = times(&hear(&song.samples, RATE_HZ, Hearing::AsLive), Kind::Beat);
        let (start_s, again_s) =
            (locked_after_s(&song.beats, &found), locked_after_s(&later, &found));
        println!("{first_bpm}, then {then_bpm}: found after {start_s:.1} s, again {again_s:.1} s");
        assert!(start_s < 1.0 && again_s < 2.5, "{first_bpm}, {then_bpm}: {start_s}, {again_s}");
    }
}
