//! MP4 and M4A files, fragmented ones too, and QuickTime films: their first sound track.
//!
//! `boxes` walks the file, `track` says what the sound is coded in, `table` and `fragment` say
//! where its packets lie, `edit` which part of it is to be heard. Nothing here trusts a length.

mod boxes;
mod edit;
mod fragment;
mod packets;
mod table;
mod track;

use std::fs::File;
use std::io::{Seek, SeekFrom};

use super::aac::{self, HIGH_EFFICIENCY};
use super::feed::{Opened, Peeked};
use super::unpack::Trouble;
use boxes::{Outer, child, children};
use edit::{Clock, Comment};
use fragment::Fragments;
use packets::{Pace, Spots};
use track::{Coding, Track};

/// No index is believed to be longer, bytes: that of a day of sound is shorter.
const MOST_INDEX: u64 = 256 << 20;

/// Packets that are looked at for the upper half of the spectrum.
const LOOKED_AT: usize = 48;

pub(super) fn open(mut file: File) -> Result<Opened, Trouble> {
    let length = file.seek(SeekFrom::End(0)).map_err(Trouble::Io)?;
    let movie = find_movie(&mut file, length)?;
    let bytes = movie.bytes(&mut file, MOST_INDEX).map_err(Trouble::Io)?;
    let (track, coding, mut notes) = choose(&bytes)?;
    let total = total(&track, &coding);
    let clock = Clock {
        rate_hz: coding.rate_hz(),
        track: track.scale,
        movie: child(&bytes, b"mvhd").and_then(track::scale).unwrap_or(1).max(1),
        total,
    };
    let (window, more) = edit::window(&track.edits, Comment::read(&bytes), clock);
    notes.extend(more);
    let extends = child(&bytes, b"mvex");
    let fragments = extends.map(|body| Fragments::new(track.id, body, movie.end, length));
    // With fragments to come, the table says nothing about the end.
    let announced = window.end.map(|end| end.saturating_sub(window.start));
    let pace = Pace { frame: coding.frame(), exact: track.scale == coding.rate_hz() };
    let spots = Spots { table: track.table, fragments, cut: movie.end > length };
    let packets = packets::Reader::new(file, length, spots, pace).map_err(Trouble::Io)?;
    let count = if matches!(coding, Coding::Aac(_)) { LOOKED_AT } else { 0 };
    let packets = Peeked::new(packets, count);
    if aac::carry_high_half(packets.bytes()) {
        return Err(Trouble::Holds(HIGH_EFFICIENCY));
    }
    let mut opened = Opened::own(packets, &coding.parameters(), window, announced)?;
    opened.notes = notes;
    Ok(opened)
}

/// The index: what all the rest is found by.
fn find_movie(file: &mut File, length: u64) -> Result<Outer, Trouble> {
    let mut at = 0;
    let mut in_sound = false;
    while let Some(outer) = Outer::read(file, at, length).map_err(Trouble::Io)? {
        if outer.name == *b"moov" {
            return Ok(outer);
        }
        in_sound = outer.name == *b"mdat" && outer.end > length;
        at = outer.end;
    }
    Err(Trouble::Broken(if in_sound {
        format!(
            "it ends at byte {length}, amid its sound data, before the index (moov) without which \
             nothing in it can be found"
        )
    } else {
        "the index (moov) is missing, without which nothing in it can be found".into()
    }))
}

/// The first sound track that can be decoded.
fn choose(movie: &[u8]) -> Result<(Track, Coding, Vec<String>), Trouble> {
    let tracks = children(movie).filter(|(name, _)| name == b"trak");
    let tracks: Vec<Track> = tracks.filter_map(|(_, body)| Track::read(body)).collect();
    let count = tracks.len();
    let mut failure = None;
    for (index, mut track) in tracks.into_iter().enumerate() {
        let unknown = Err(Trouble::Foreign);
        match std::mem::replace(&mut track.coding, unknown) {
            Ok(coding) => {
                let note = format!(
                    "the file holds {count} sound tracks; number {} of them was taken",
                    index + 1
                );
                return Ok((track, coding, if count > 1 { vec![note] } else { Vec::new() }));
            }
            Err(trouble) => failure = failure.or(Some(trouble)),
        }
    }
    Err(failure.unwrap_or(Trouble::NoSound))
}

/// Instants in all packets of the table. A last packet that lasts shorter than others ends there.
fn total(track: &Track, coding: &Coding) -> Option<u64> {
    let (count, lasting) = track.table.total();
    let exact = track.scale == coding.rate_hz();
    let all = match coding.frame() {
        Some(frame) => {
            let full = count.saturating_mul(frame.into());
            let short = exact && lasting < full && full - lasting < frame.into();
            if short { lasting } else { full }
        }
        None if exact => lasting,
        None => return None,
    };
    (count > 0).then_some(all)
}
