//! That the song holds what its description promises, and never changes unnoticed.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

use super::*;
use crate::audio::collect;
use crate::audio::fingerprint::Fingerprint;

fn song() -> Vec<f32> {
    collect(&mut DemoSong::new()).unwrap()
}

/// Root mean square of a stretch given in bars, in dB below full scale.
fn level_db(song: &[f32], from_bar: f64, to_bar: f64) -> f64 {
    let index = |bar: f64| 2 * (bar * BAR as f64) as usize;
    let part = &song[index(from_bar)..index(to_bar)];
    let power = part.iter().map(|&x| f64::from(x) * f64::from(x)).sum::<f64>() / part.len() as f64;
    10.0 * libm::log10(power)
}

#[test]
fn it_lasts_thirty_seconds_inside_full_scale_and_then_is_over() {
    let mut source = DemoSong::new();
    assert_eq!(source.expected_instants(), Some(30 * 44_100));
    let song = collect(&mut source).unwrap();
    assert_eq!(song.len(), 2 * 30 * 44_100);
    assert!(source.next_block().unwrap().is_none());
    let peak = song.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
    assert!(peak > 0.9 && peak < 1.0, "peak {peak}");
    assert!(song[song.len() - 2].abs() < 0.001);
}

#[test]
fn the_break_is_quiet_for_long_and_the_ending_loud() {
    let song = song();
    // The break starts at bar 6; its tails have died at 6.45, the pick-up starts at 7.75: 2.8 s.
    assert!(level_db(&song, 6.45, 7.74) < -70.0, "{}", level_db(&song, 6.45, 7.74));
    assert!(level_db(&song, 2.0, 6.0) > -20.0, "{}", level_db(&song, 2.0, 6.0));
    let step = level_db(&song, 10.0, 14.0) - level_db(&song, 2.0, 6.0);
    assert!(step > 4.0, "the ending is {step:.1} dB louder");
}

#[test]
fn it_is_stereo_where_the_pad_plays() {
    let song = song();
    let part = &song[2 * 189_000..6 * 189_000];
    let (mut mid, mut side) = (0.0, 0.0);
    for pair in part.chunks(2) {
        mid += libm::pow(f64::from(pair[0] + pair[1]), 2.0);
        side += libm::pow(f64::from(pair[0] - pair[1]), 2.0);
    }
    let below = 10.0 * libm::log10(mid / side);
    assert!((3.0..25.0).contains(&below), "side is {below:.1} dB below mid");
}

/// 112 beats a minute: every beat of the first bars starts louder than the moment before it.
#[test]
fn the_beat_is_where_the_tempo_says() {
    let song = song();
    let power = |from: usize| {
        song[2 * from..2 * (from + 441)].iter().map(|&x| f64::from(x) * f64::from(x)).sum::<f64>()
    };
    for beat in 1..8 {
        let at = beat * 60 * 44_100 / 112;
        assert!(power(at) > 2.0 * power(at - 441), "beat {beat}");
    }
}

/// The song is arithmetic of our own and `libm`: the same bits on every machine.
#[test]
fn its_samples_never_change_unnoticed() {
    let mut print = Fingerprint::new();
    let mut source = DemoSong::new();
    while let Some(block) = source.next_block().unwrap() {
        print.update(block);
    }
    assert_eq!(print.hex(), "de7605690d7fbbfd65a7a016216de74a");
}
