//! The same sound gives the same events, and what comes later changes none.

use coilscore::analysis::Arith;
use coilscore::analysis::onset::{Hearing, Onsets};
use coilscore::audio::{SampleBlock, SoundFormat};

use crate::songs::{instants, mixed};
use crate::{hear, hear_cut};

#[test]
fn chunks_change_nothing() {
    for (rate_hz, hearing) in [(44_100, Hearing::AsLive), (48_000, Hearing::LookAhead)] {
        let song = mixed(131.0, 6.0, rate_hz, 1);
        let whole = hear_cut(&song.samples, rate_hz, hearing, &[usize::MAX]);
        assert!(whole.len() > 20);
        for chunks in [&[1][..], &[7, 1000, 176, 177], &[441], &[65_536]] {
            let cut = hear_cut(&song.samples, rate_hz, hearing, chunks);
            assert_eq!(cut, whole, "{chunks:?}");
        }
    }
}

/// Cut off anywhere, the sound gives exactly the events that were known by then.
#[test]
fn what_is_known_never_depends_on_what_follows() {
    let rate_hz = 44_100;
    let song = mixed(131.0, 6.0, rate_hz, 2);
    let sound = SoundFormat { rate_hz, channels: 1 };
    for hearing in [Hearing::AsLive, Hearing::LookAhead] {
        let whole = hear(&song.samples, rate_hz, hearing);
        for end_s in [0.5, 1.234, 2.0, 3.21, 4.9] {
            let mut onsets = Onsets::new(sound, hearing, Arith::Portable).unwrap();
            let mut known = Vec::new();
            let start = &song.samples[..instants(end_s, rate_hz)];
            onsets.push(SampleBlock::new(start, 1).unwrap(), &mut |event| known.push(event));
            let expected: Vec<_> =
                whole.iter().filter(|event| event.emitted_s <= end_s).copied().collect();
            assert_eq!(known, expected, "{hearing:?} up to {end_s} s");
        }
    }
}

/// Both channels count, whatever their phase; a channel alone is enough.
#[test]
fn channels_do_not_cancel() {
    let rate_hz = 44_100;
    let song = mixed(100.0, 5.0, rate_hz, 3);
    let sound = SoundFormat { rate_hz, channels: 2 };
    let count = |right: f32| {
        let pairs: Vec<f32> = song.samples.iter().flat_map(|&x| [x, right * x]).collect();
        let mut onsets = Onsets::new(sound, Hearing::AsLive, Arith::Portable).unwrap();
        let mut count = 0;
        onsets.push(SampleBlock::new(&pairs, 2).unwrap(), &mut |_| count += 1);
        count
    };
    let mono = count(1.0);
    assert!(mono > 20);
    assert_eq!(count(-1.0), mono);
    assert_eq!(count(0.0), mono);
}

#[test]
fn sounds_that_are_none_are_refused() {
    for (rate_hz, channels, word) in [(7_999, 2, "8000"), (44_100, 33, "32")] {
        let sound = SoundFormat { rate_hz, channels };
        let refusal = Onsets::new(sound, Hearing::AsLive, Arith::Native).err().unwrap();
        assert!(refusal.to_string().contains(word), "{refusal}");
    }
}
