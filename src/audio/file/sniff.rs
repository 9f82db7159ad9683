//! What a file is, told from its bytes and never from its name.

use std::io::{self, Read, Seek, SeekFrom};

use super::{adts, mpeg};

/// What the bytes say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// RIFF with WAVE inside.
    Wav,
    /// Native FLAC, starting at this byte.
    Flac(u64),
    /// Ogg with Vorbis or FLAC inside.
    Ogg,
    /// MPEG audio layer III, its first frame at this byte.
    Mp3(u64),
    /// AAC without a container, its first frame at this byte.
    Aac(u64),
    /// The ISO base media format: MP4, M4A, QuickTime.
    Mp4,
    /// AIFF or AIFF-C.
    Aiff,
    /// WAV that comes as a stream.
    WavStream,
    /// Sound of a known kind that is not read: what it is, as part of a sentence.
    Foreign(&'static str),
    /// Something known that holds no sound.
    Other(&'static str),
    /// No bytes at all.
    Empty,
    /// Nothing known.
    Unknown,
}

impl Kind {
    /// What the user calls such a file.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Flac(_) => "FLAC file",
            Self::Ogg => "Ogg file",
            Self::Wav => "WAV file",
            Self::Aac(_) => "AAC file",
            Self::Mp4 => "MP4 file",
            Self::Aiff => "AIFF file",
            Self::WavStream => "WAV stream",
            _ => "MP3 file",
        }
    }

    /// What its frames are called.
    pub(super) fn coding(self) -> &'static str {
        if matches!(self, Self::Aac(_)) { "AAC" } else { "MP3" }
    }
}

/// How many bytes are looked at.
pub(super) const HEAD: usize = 64 * 1024;

/// How many tags in a row are stepped over.
const MAX_TAGS: usize = 8;

/// Looks at the start of `file` and, past tags, at the start of the sound.
pub(super) fn sniff(file: &mut (impl Read + Seek)) -> io::Result<Kind> {
    let mut at = 0;
    for _ in 0..MAX_TAGS {
        file.seek(SeekFrom::Start(at))?;
        let mut head = Vec::with_capacity(HEAD);
        file.by_ref().take(HEAD as u64).read_to_end(&mut head)?;
        match id3_length(&head) {
            Some(length) => at += length,
            None => return Ok(kind_of(&head, at)),
        }
    }
    Ok(Kind::Unknown)
}

/// Length of an ID3v2 tag with its header, as laid down in "ID3 tag version 2.4.0 - Main
/// Structure", section 3.1: four bytes of seven bits, plus ten for a footer.
fn id3_length(head: &[u8]) -> Option<u64> {
    let &[b'I', b'D', b'3', _, _, flags, a, b, c, d, ..] = head else { return None };
    if (a | b | c | d) & 0x80 != 0 {
        return None;
    }
    let length = [a, b, c, d].iter().fold(0, |sum, &byte| (sum << 7) | u64::from(byte));
    Some(10 + length + if flags & 0x10 != 0 { 10 } else { 0 })
}

/// What a file is that has `head` at byte `at`, with nothing but tags before.
pub(super) fn kind_of(head: &[u8], at: u64) -> Kind {
    match head {
        [] if at == 0 => Kind::Empty,
        [] => Kind::Other("nothing but a tag: the sound behind it is missing"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E', ..] if at == 0 => Kind::Wav,
        [b'F', b'O', b'R', b'M', _, _, _, _, b'A', b'I', b'F', b'F' | b'C', ..] if at == 0 => {
            Kind::Aiff
        }
        [b'f', b'L', b'a', b'C', ..] => Kind::Flac(at),
        [b'O', b'g', b'g', b'S', ..] if at == 0 => ogg_kind(head),
        _ if at == 0 && is_mp4(head) => mp4_kind(head),
        _ => {
            named(head).or_else(|| frames(head, at)).or_else(|| text(head)).unwrap_or(Kind::Unknown)
        }
    }
}

/// True where a box of one of the kinds that stand first begins the file. Films of QuickTime's first
/// years lack the box that names the type.
fn is_mp4(head: &[u8]) -> bool {
    let first: [&[u8]; 8] =
        [b"ftyp", b"styp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"];
    head.get(4..8).is_some_and(|name| first.contains(&name))
}

/// Pictures come in the same boxes.
fn mp4_kind(head: &[u8]) -> Kind {
    let pictures: [&[u8]; 6] = [b"avif", b"avis", b"heic", b"heix", b"mif1", b"msf1"];
    let typed = head.get(4..8) == Some(b"ftyp");
    let picture = head.get(8..12).is_some_and(|brand| typed && pictures.contains(&brand));
    if picture { Kind::Other("a picture") } else { Kind::Mp4 }
}

/// The first page of every stream in an Ogg file names its coding.
fn ogg_kind(head: &[u8]) -> Kind {
    let holds = |mark: &[u8]| head.windows(mark.len()).any(|window| window == mark);
    if holds(b"\x01vorbis") || holds(b"\x7fFLAC") {
        Kind::Ogg
    } else if holds(b"OpusHead") {
        Kind::Foreign("Opus sound")
    } else if holds(b"Speex   ") {
        Kind::Foreign("Speex sound")
    } else {
        Kind::Foreign("an Ogg file with neither Vorbis nor FLAC sound in it")
    }
}

/// Kinds of file that people have at hand and that are not read.
fn named(head: &[u8]) -> Option<Kind> {
    let at = |from: usize, mark: &[u8]| head.get(from..).is_some_and(|rest| rest.starts_with(mark));
    let sound: [(bool, &'static str); 25] = [
        (at(0, b"RF64") || at(0, b"BW64"), "an RF64 or BW64 file (WAV made for more than 4 GiB)"),
        (at(0, b"riff\x2e\x91\xcf\x11"), "a W64 file (WAV made for more than 4 GiB)"),
        (at(0, b"RIFX"), "a WAV file with its bytes in big-endian order"),
        (at(0, b"RIFF") && at(8, b"AVI "), "an AVI film"),
        (at(0, b"caff"), "a CAF file"),
        (at(0, b".snd"), "an AU file"),
        (at(0, b"\x1a\x45\xdf\xa3"), "a Matroska or WebM file"),
        (at(0, b"\x30\x26\xb2\x75\x8e\x66\xcf\x11"), "an ASF file (WMA sound)"),
        (at(0, b"FLV\x01"), "an FLV film"),
        (at(0, b"wvpk"), "a WavPack file"),
        (at(0, b"MAC "), "a file of Monkey's Audio"),
        (at(0, b"MPCK") || at(0, b"MP+"), "a Musepack file"),
        (at(0, b"TTA1"), "a TTA file"),
        (at(0, b"ajkg"), "a Shorten file"),
        (at(0, b"#!AMR"), "an AMR recording"),
        (at(0, b"DSD ") || at(0, b"FRM8"), "one-bit (DSD) sound"),
        (at(0, b"ADIF"), "AAC sound with a single header (ADIF)"),
        (is_latm(head), "AAC sound in LATM frames"),
        (at(0, b"\x0b\x77"), "AC-3 sound"),
        (at(0, b"\x7f\xfe\x80\x01"), "DTS sound"),
        (at(0, b".RMF"), "a RealMedia file"),
        (at(0, b"\x00\x00\x01\xba"), "an MPEG film"),
        (at(0, b"\x47") && at(188, b"\x47") && at(376, b"\x47"), "an MPEG transport stream"),
        (at(0, b"FORM") && at(8, b"8SVX"), "an 8SVX file"),
        (at(0, b"Creative Voice File"), "a VOC file"),
    ];
    let other: [(bool, &'static str); 7] = [
        (at(0, b"MThd"), "a MIDI file, which holds notes to be played and no sound"),
        (at(0, b"\x89PNG") || at(0, b"\xff\xd8\xff") || at(0, b"GIF8"), "a picture"),
        (at(0, b"%PDF"), "a PDF document"),
        (at(0, b"PK\x03\x04"), "a ZIP archive"),
        (at(0, b"\x1f\x8b"), "a gzip archive"),
        (at(0, b"7z\xbc\xaf\x27\x1c"), "a 7z archive"),
        (at(0, b"\x7fELF") || at(0, b"MZ"), "a program"),
    ];
    let find =
        |list: &[(bool, &'static str)]| list.iter().find_map(|&(is, what)| is.then_some(what));
    find(&sound).map(Kind::Foreign).or_else(|| find(&other).map(Kind::Other))
}

/// Eleven bits that begin every frame, and thirteen that say where the next one begins (ISO/IEC
/// 14496-3, 1.7.2).
fn is_latm(head: &[u8]) -> bool {
    let next = |bytes: &[u8]| match *bytes {
        [0x56, second, third, ..] if second & 0xe0 == 0xe0 => {
            Some(3 + (usize::from(second & 0x1f) << 8) + usize::from(third))
        }
        _ => None,
    };
    next(head).is_some_and(|at| head.get(at..).is_some_and(|rest| next(rest).is_some()))
}

/// MPEG sound has no mark at its start, only a chain of frames each of which says how long it is.
/// Junk before the first frame is common, so the whole head is searched; of two kinds of chain the
/// earlier one is meant.
fn frames(head: &[u8], at: u64) -> Option<Kind> {
    let mpeg = mpeg::find_chain(head);
    let reach = mpeg.and_then(|(offset, _)| usize::try_from(offset).ok()).unwrap_or(head.len());
    match adts::find_chain(head).filter(|&(offset, _)| offset < reach) {
        Some((offset, _)) => Some(Kind::Aac(at + offset as u64)),
        None => mpeg.map(|(offset, header)| match header.layer {
            3 => Kind::Mp3(at + offset),
            2 => Kind::Foreign("MPEG audio layer II sound"),
            _ => Kind::Foreign("MPEG audio layer I sound"),
        }),
    }
}

fn text(head: &[u8]) -> Option<Kind> {
    let readable = |bytes: &[u8]| bytes.iter().all(|b| !matches!(b, 0..=8 | 14..=26 | 28..=31));
    let start = head.get(..head.len().min(1024))?;
    let utf8 = match std::str::from_utf8(start) {
        Ok(_) => true,
        Err(error) => error.error_len().is_none(),
    };
    (utf8 && readable(start)).then_some(Kind::Other("a text file"))
}
