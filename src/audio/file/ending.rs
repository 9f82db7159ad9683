//! Whether the data of a packed file run to their own end or stop in the middle.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::mpeg;
use super::sniff::Kind;

/// The longest Ogg page (RFC 3533: 27 bytes, 255 lengths, 255 * 255 bytes) fits twice.
const TAIL: u64 = 128 * 1024;

/// How far the data of a file reach, as told without decoding them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Extent {
    /// True where they stop before their end.
    pub(super) cut_short: bool,
    /// True where the file says how long its sound is; otherwise that can only be estimated.
    pub(super) counted: bool,
    /// Bytes from the first frame with sound to the end of the last, where there is nothing but
    /// frames in between.
    pub(super) frames: Option<u64>,
}

impl Extent {
    pub(super) fn of(file: &mut File, kind: Kind) -> io::Result<Self> {
        match kind {
            Kind::Mp3(at) => mp3_extent(file, at),
            Kind::Ogg => Ok(Self { cut_short: !ogg_is_whole(file)?, counted: true, frames: None }),
            _ => Ok(Self { cut_short: false, counted: true, frames: None }),
        }
    }
}

/// The last bytes of a file and where they start.
fn tail(file: &mut File) -> io::Result<(u64, Vec<u8>)> {
    let start = file.seek(SeekFrom::End(0))?.saturating_sub(TAIL);
    Ok((start, read_at(file, start, TAIL)?))
}

fn read_at(file: &mut File, start: u64, most: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// True where the last page is all there and says that it is the last (RFC 3533, section 6).
fn ogg_is_whole(file: &mut File) -> io::Result<bool> {
    let (_, bytes) = tail(file)?;
    let Some(start) = bytes.windows(4).rposition(|window| window == b"OggS") else {
        return Ok(false);
    };
    let page = bytes.get(start..).unwrap_or_default();
    let [flags, segments] = [5, 26].map(|at| page.get(at).copied());
    let lengths = segments.and_then(|count| page.get(27..27 + usize::from(count)));
    let whole = lengths.is_some_and(|lengths| {
        let body: usize = lengths.iter().map(|&length| usize::from(length)).sum();
        page.len() >= 27 + lengths.len() + body
    });
    Ok(whole && flags.is_some_and(|flags| flags & 4 != 0))
}

/// The first MPEG frame, at byte `at`, may hold no sound but a count of frames ("Xing", "Info" or
/// "VBRI" header: common practice, no standard). The last one may be cut; a tag may follow it.
fn mp3_extent(file: &mut File, at: u64) -> io::Result<Extent> {
    let first = read_at(file, at, 64)?;
    let marks: [&[u8]; 3] = [b"Xing", b"Info", b"VBRI"];
    let counted = marks.iter().any(|&mark| first.windows(mark.len()).any(|window| window == mark));
    let first_bytes = mpeg::Header::read(&first).map_or(0, |header| header.bytes as u64);
    let (start, bytes) = tail(file)?;
    let Some((end, cut_short)) = chain_end(&bytes) else {
        return Ok(Extent { cut_short: false, counted, frames: None });
    };
    let sound_at = at + if counted { first_bytes } else { 0 };
    let frames = (start + end as u64).saturating_sub(sound_at);
    Ok(Extent { cut_short, counted, frames: Some(frames) })
}

/// Where the last whole frame ends, and whether another one was begun.
fn chain_end(bytes: &[u8]) -> Option<(usize, bool)> {
    let mut end = None;
    let mut at = 0;
    // What breaks a chain is a tag after the sound or damage with another chain after it.
    while let Some((start, _)) = bytes.get(at..).and_then(mpeg::find_chain) {
        at += usize::try_from(start).ok()?;
        let (length, begun) = chain_length(bytes.get(at..)?);
        at += length;
        end = Some((at, begun));
    }
    end
}

fn chain_length(bytes: &[u8]) -> (usize, bool) {
    let mut at = 0;
    while let Some(rest) = bytes.get(at..) {
        match mpeg::Header::read(rest) {
            Some(header) if header.bytes <= rest.len() => at += header.bytes,
            Some(_) => return (at, true),
            // A few bytes may be what is left of a header.
            None => return (at, rest.len() < 4 && rest.first() == Some(&0xff)),
        }
    }
    (at, false)
}
