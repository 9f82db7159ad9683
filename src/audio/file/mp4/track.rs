//! One track of an MP4 file: what its sound is coded in, and which part of it is to be heard.

use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::{CODEC_ID_ALAC, CODEC_ID_FLAC};

use super::super::aac::{self, Plain, Unfit};
use super::super::adts;
use super::super::fields::{Fields, Name};
use super::super::unpack::Trouble;
use super::boxes::{child, children, descend};
use super::table::{Table, rows};

/// A sound track.
pub(super) struct Track {
    pub(super) id: u32,
    /// Its own units in a second.
    pub(super) scale: u32,
    pub(super) coding: Result<Coding, Trouble>,
    pub(super) table: Table,
    pub(super) edits: Vec<Edit>,
}

/// A part of the track that is to be played; the list of them stands for what players do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Edit {
    /// How long, in units of the whole file.
    pub(super) lasts: u64,
    /// From where, in units of the track; `None`: silence.
    pub(super) from: Option<u64>,
}

/// Sound that can be decoded.
pub(super) enum Coding {
    Aac(Plain),
    Alac { cookie: Vec<u8>, frame: u32, rate_hz: u32, channels: u16 },
    Flac { info: Vec<u8>, rate_hz: u32, channels: u16 },
}

impl Track {
    /// From the body of `trak`; `None` where it holds no sound.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let media = child(bytes, b"mdia")?;
        let mut handler = Fields(child(media, b"hdlr")?);
        handler.skip(8)?;
        if handler.name()? != *b"soun" {
            return None;
        }
        let table = descend(media, &[b"minf", b"stbl"]).unwrap_or_default();
        Some(Self {
            id: identity(child(bytes, b"tkhd")?)?,
            scale: scale(child(media, b"mdhd")?)?.max(1),
            coding: coding(child(table, b"stsd").unwrap_or_default()),
            table: Table::read(table),
            edits: descend(bytes, &[b"edts", b"elst"]).map_or_else(Vec::new, edits),
        })
    }
}

fn identity(header: &[u8]) -> Option<u32> {
    let mut fields = Fields(header);
    let version = fields.u8()?;
    fields.skip(if version == 1 { 19 } else { 11 })?;
    fields.u32()
}

/// Units in a second, from the body of `mdhd` or `mvhd`.
pub(super) fn scale(header: &[u8]) -> Option<u32> {
    let mut fields = Fields(header);
    let version = fields.u8()?;
    fields.skip(if version == 1 { 19 } else { 11 })?;
    fields.u32()
}

fn edits(body: &[u8]) -> Vec<Edit> {
    let version = body.first().copied().unwrap_or(0);
    rows(body, if version == 1 { 20 } else { 12 }, |fields| {
        let lasts = fields.wide(version)?;
        let from = match version {
            1 => fields.u64()?.cast_signed(),
            _ => i64::from(fields.u32()?.cast_signed()),
        };
        fields.skip(4)?;
        Some(Edit { lasts, from: u64::try_from(from).ok() })
    })
}

/// From the body of `stsd`.
fn coding(descriptions: &[u8]) -> Result<Coding, Trouble> {
    let inside = descriptions.get(8..).unwrap_or_default();
    let Some((name, entry)) = children(inside).next() else {
        return Err(Trouble::Broken("it does not say what its sound is coded in".into()));
    };
    let boxes = after_sound_entry(entry).unwrap_or_default();
    let broken = || Trouble::Broken("what it says about the coding of its sound is cut".into());
    match &name {
        b"mp4a" => mpeg(child(boxes, b"esds").ok_or_else(broken)?),
        b"alac" => alac(child(boxes, b"alac").ok_or_else(broken)?).ok_or_else(broken),
        b"fLaC" => flac(child(boxes, b"dfLa").ok_or_else(broken)?).ok_or_else(broken),
        _ => Err(named(name).map_or(Trouble::Foreign, Trouble::Holds)),
    }
}

/// The boxes in a sound sample entry. QuickTime's versions 1 and 2 are longer, and may wrap the
/// boxes into another one ("QuickTime File Format", sound sample descriptions).
fn after_sound_entry(entry: &[u8]) -> Option<&[u8]> {
    let mut fields = Fields(entry);
    fields.skip(8)?;
    let version = fields.u16()?;
    fields.skip(18)?;
    match version {
        1 => fields.skip(16)?,
        2 => fields.skip(36)?,
        _ => {}
    }
    Some(child(fields.0, b"wave").unwrap_or(fields.0))
}

fn mpeg(esds: &[u8]) -> Result<Coding, Trouble> {
    let cut = || Trouble::Broken("what it says about the coding of its sound is cut".into());
    let (object, config) = aac::decoder_config(esds).ok_or_else(cut)?;
    match object {
        // MPEG-4, and the three profiles of MPEG-2 (ISO/IEC 14496-1, table 5).
        0x40 | 0x66..=0x68 => match Plain::read(config) {
            Ok(plain) => Ok(Coding::Aac(plain)),
            Err(Unfit::Kind(kind)) => Err(Trouble::Holds(kind)),
            Err(Unfit::Channels(channels)) => Err(Trouble::Surround(channels, "AAC")),
            Err(Unfit::Broken) => Err(cut()),
        },
        0x69 | 0x6b => Err(Trouble::Holds("MP3 sound")),
        0xa5 => Err(Trouble::Holds("AC-3 sound")),
        0xa6 => Err(Trouble::Holds("E-AC-3 sound")),
        0xa9..=0xac => Err(Trouble::Holds("DTS sound")),
        0xdd => Err(Trouble::Holds("Vorbis sound")),
        _ => Err(Trouble::Foreign),
    }
}

/// Frame length, bits and all that a decoder needs, after version and flags.
fn alac(body: &[u8]) -> Option<Coding> {
    let cookie = body.get(4..)?;
    let mut fields = Fields(cookie);
    let frame = fields.u32()?;
    fields.skip(5)?;
    let channels = fields.u8()?.into();
    fields.skip(10)?;
    let rate_hz = fields.u32()?;
    let cookie = cookie.get(..48).filter(|_| cookie.len() == 48).or(cookie.get(..24))?;
    (frame > 0).then(|| Coding::Alac { cookie: cookie.to_vec(), frame, rate_hz, channels })
}

/// The STREAMINFO block of FLAC, after version, flags and the head of the block.
fn flac(body: &[u8]) -> Option<Coding> {
    let info = body.get(8..42)?.to_vec();
    let mut fields = Fields(info.get(10..)?);
    let packed = fields.u32()?;
    let channels = u16::try_from((packed >> 9) & 7).ok()? + 1;
    Some(Coding::Flac { info, rate_hz: packed >> 12, channels })
}

/// Codings that people meet in such files, by the name of their entry.
fn named(name: Name) -> Option<&'static str> {
    Some(match &name {
        b"Opus" => "Opus sound",
        b"ac-3" | b"sac3" => "AC-3 sound",
        b"ec-3" => "E-AC-3 sound",
        b"ac-4" => "AC-4 sound",
        b"dtsc" | b"dtse" | b"dtsh" | b"dtsl" | b"dtsx" => "DTS sound",
        b"mlpa" => "TrueHD sound",
        b"mha1" | b"mhm1" => "MPEG-H sound",
        b".mp3" | b"mp3 " => "MP3 sound",
        b"samr" | b"sawb" => "AMR sound",
        b"enca" | b"drms" | b"drmi" => "encrypted sound, which no converter can read either",
        b"ima4" => "ADPCM sound",
        b"QDM2" | b"QDMC" | b"Qclp" => "QDesign or voice-coded sound",
        b"ulaw" | b"alaw" => "A-law or mu-law sound",
        b"lpcm" | b"ipcm" | b"fpcm" | b"sowt" | b"twos" | b"raw " | b"NONE" | b"in24" | b"in32"
        | b"fl32" | b"fl64" => "uncompressed sound",
        _ => return None,
    })
}

impl Coding {
    /// Sampling rate.
    pub(super) fn rate_hz(&self) -> u32 {
        match self {
            Self::Aac(plain) => plain.rate_hz,
            Self::Alac { rate_hz, .. } | Self::Flac { rate_hz, .. } => *rate_hz,
        }
    }

    /// Samples of one channel in a packet, where all but the last have the same number.
    pub(super) fn frame(&self) -> Option<u32> {
        match self {
            Self::Aac(_) => Some(aac::FRAME),
            Self::Alac { frame, .. } => Some(*frame),
            Self::Flac { .. } => None,
        }
    }

    /// For the decoder.
    pub(super) fn parameters(&self) -> AudioCodecParameters {
        let (codec, data, rate_hz, channels) = match self {
            Self::Aac(plain) => return adts::parameters(*plain),
            Self::Alac { cookie, rate_hz, channels, .. } => {
                (CODEC_ID_ALAC, cookie, *rate_hz, *channels)
            }
            Self::Flac { info, rate_hz, channels } => (CODEC_ID_FLAC, info, *rate_hz, *channels),
        };
        let mut parameters = AudioCodecParameters::new();
        parameters
            .for_codec(codec)
            .with_extra_data(data.clone().into_boxed_slice())
            .with_sample_rate(rate_hz)
            .with_channels(Channels::Discrete(channels));
        parameters
    }
}
