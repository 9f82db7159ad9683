//! What is heard in songs whose every event is known, because they are made here.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]

mod beats;
mod command;
mod found;
mod nothing;
mod same;
mod score;
mod songs;
mod tempos;

use coilscore::analysis::Arith;
use coilscore::analysis::onset::{Event, Hearing, Kind, Onsets};
use coilscore::audio::{SampleBlock, SoundFormat};

/// All events of a mono sound, cut into the given lengths (repeated as needed), in the order in
/// which they became known.
fn hear_cut(samples: &[f32], rate_hz: u32, hearing: Hearing, chunks: &[usize]) -> Vec<Event> {
    let sound = SoundFormat { rate_hz, channels: 1 };
    let mut onsets = Onsets::new(sound, hearing, Arith::Portable).unwrap();
    let mut events = Vec::new();
    let mut rest = SampleBlock::new(samples, 1).unwrap();
    for &chunk in chunks.iter().cycle() {
        if rest.instants() == 0 {
            break;
        }
        let (head, tail) = rest.split_at(chunk);
        onsets.push(head, &mut |event| events.push(event));
        rest = tail;
    }
    onsets.finish(&mut |event| events.push(event));
    events
}

fn hear(samples: &[f32], rate_hz: u32, hearing: Hearing) -> Vec<Event> {
    hear_cut(samples, rate_hz, hearing, &[4096])
}

/// Times of one kind, rising.
fn times(events: &[Event], kind: Kind) -> Vec<f64> {
    let of_kind = events.iter().filter(|event| event.kind == kind);
    let mut times: Vec<f64> = of_kind.map(|event| event.time_s).collect();
    times.sort_by(f64::total_cmp);
    times
}
