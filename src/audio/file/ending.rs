//! Whether the data of a packed file run to their own end or stop in the middle.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::mpeg;

/// The longest Ogg page (RFC 3533: 27 bytes, 255 lengths, 255 * 255 bytes) fits twice.
const TAIL: u64 = 128 * 1024;

fn tail(file: &mut File) -> io::Result<Vec<u8>> {
    let length = file.seek(SeekFrom::End(0))?;
    file.seek(SeekFrom::Start(length.saturating_sub(TAIL)))?;
    let mut bytes = Vec::new();
    file.take(TAIL).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// True where the last page is all there and says that it is the last (RFC 3533, section 6).
pub(super) fn ogg_is_whole(file: &mut File) -> io::Result<bool> {
    let bytes = tail(file)?;
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

/// True where the last frame of a chain of MPEG frames is all there.
pub(super) fn mp3_is_whole(file: &mut File) -> io::Result<bool> {
    let bytes = tail(file)?;
    let start = mpeg::find_chain(&bytes).and_then(|(start, _)| usize::try_from(start).ok());
    let Some(mut at) = start else { return Ok(true) };
    while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
        match mpeg::Header::read(rest) {
            Some(header) => at += header.bytes,
            // A few bytes of a header, or a tag after the sound.
            None => return Ok(rest.len() >= 4 || rest.first() != Some(&0xff)),
        }
    }
    Ok(at <= bytes.len())
}

/// True where the first MPEG frame, at byte `at`, holds no sound but a count of frames ("Xing",
/// "Info" or "VBRI" header: common practice, no standard).
pub(super) fn mp3_has_count(file: &mut File, at: u64) -> io::Result<bool> {
    file.seek(SeekFrom::Start(at))?;
    let mut frame = Vec::new();
    file.take(64).read_to_end(&mut frame)?;
    let marks: [&[u8]; 3] = [b"Xing", b"Info", b"VBRI"];
    Ok(marks.iter().any(|&mark| frame.windows(mark.len()).any(|window| window == mark)))
}
