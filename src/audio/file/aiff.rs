//! AIFF and AIFF-C: chunks with big-endian lengths ("Audio Interchange File Format", version 1.3,
//! and "AIFF-C", draft of 1991; later codings are common practice, no standard).

use std::fs::File;
use std::io::{self, BufReader, Seek, SeekFrom};

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_PCM_ALAW, CODEC_ID_PCM_F32BE, CODEC_ID_PCM_F64BE, CODEC_ID_PCM_MULAW, CODEC_ID_PCM_S8,
    CODEC_ID_PCM_S16BE, CODEC_ID_PCM_S16LE, CODEC_ID_PCM_S24BE, CODEC_ID_PCM_S24LE,
    CODEC_ID_PCM_S32BE, CODEC_ID_PCM_S32LE, CODEC_ID_PCM_U8,
};

use super::feed::{Opened, Window};
use super::fields::{Fields, Name, read_at};
use super::pcm::{Layout, Pcm};
use super::unpack::Trouble;
use super::wav::OPEN_LENGTH;

/// Chunks that are looked at in search of the two that count.
const MOST_CHUNKS: usize = 10_000;

/// Where the samples lie, and how many bytes of them the file states.
#[derive(Debug, Clone, Copy)]
struct Data {
    at: u64,
    stated: u64,
}

pub(super) fn open(mut file: File) -> Result<Opened, Trouble> {
    let length = file.seek(SeekFrom::End(0)).map_err(Trouble::Io)?;
    let (layout, data) = find(&mut file, length)?;
    let stride = layout.stride();
    let open = data.stated == 0 || (data.stated >= OPEN_LENGTH && data.at + data.stated > length);
    let left = (!open).then_some(data.stated);
    file.seek(SeekFrom::Start(data.at)).map_err(Trouble::Io)?;
    let packets = Pcm::new(BufReader::new(file), layout, left);
    let announced = left.map(|bytes| bytes / stride);
    Opened::own(packets, &layout.parameters(), Window::default(), announced)
}

fn find(file: &mut File, length: u64) -> Result<(Layout, Data), Trouble> {
    let (mut layout, mut data) = (None, None);
    let compressed = read_at(file, 8, 4).map_err(Trouble::Io)? == b"AIFC";
    let mut at = 12;
    for _ in 0..MOST_CHUNKS {
        let Some((name, size)) = chunk(file, at).map_err(Trouble::Io)? else { break };
        let body = at + 8;
        match &name {
            b"COMM" => {
                let bytes = read_at(file, body, size.min(64)).map_err(Trouble::Io)?;
                layout = Some(common(&bytes, compressed).ok_or_else(|| {
                    Trouble::Broken(format!("its description at byte {at} makes no sense"))
                })??);
            }
            b"SSND" => data = Some(sound(file, body, size, length).map_err(Trouble::Io)?),
            _ => {}
        }
        // What is read already stands before a sound chunk whose length is open.
        if layout.is_some() && data.is_some() {
            break;
        }
        at = body + size + size % 2;
    }
    match (layout, data) {
        (Some(layout), Some(data)) => Ok((layout, data)),
        (None, _) => Err(Trouble::Broken("it ends before its description (COMM)".into())),
        (_, None) => Err(Trouble::Broken("it ends before any sound (SSND)".into())),
    }
}

fn chunk(file: &mut File, at: u64) -> io::Result<Option<(Name, u64)>> {
    let bytes = read_at(file, at, 8)?;
    let mut fields = Fields(&bytes);
    Ok(fields.name().zip(fields.u32().map(u64::from)))
}

fn sound(file: &mut File, body: u64, size: u64, length: u64) -> io::Result<Data> {
    let bytes = read_at(file, body, 4)?;
    let skipped = Fields(&bytes).u32().map_or(0, u64::from);
    let at = body.saturating_add(8).saturating_add(skipped).min(length.max(body + 8));
    Ok(Data { at, stated: size.saturating_sub(8).saturating_sub(skipped) })
}

/// The common chunk. `None` where it is cut or makes no sense.
fn common(bytes: &[u8], compressed: bool) -> Option<Result<Layout, Trouble>> {
    let mut fields = Fields(bytes);
    let channels = fields.u16()?;
    fields.skip(4)?;
    let bits = fields.u16()?;
    let rate_hz = extended(fields.u16()?, fields.u64()?)?;
    let coding = if compressed { fields.name()? } else { *b"NONE" };
    if channels == 0 || bits == 0 {
        return None;
    }
    let layout = |(codec, width)| Layout { codec, width, rate_hz, channels };
    Some(coded(coding, bits).map(layout).ok_or(match &coding {
        b"ima4" => Trouble::Coding("ADPCM"),
        b"MAC3" | b"MAC6" => Trouble::Coding("MACE"),
        b"GSM " | b"agsm" => Trouble::Coding("GSM"),
        b"QDMC" | b"QDM2" | b"Qclp" => Trouble::Coding("QDesign or voice-coded"),
        _ => Trouble::Foreign,
    }))
}

/// Coding and bytes of one sample. Fewer bits than the bytes hold stand at their upper end.
fn coded(coding: Name, bits: u16) -> Option<(AudioCodecId, u16)> {
    let whole = |codecs: [AudioCodecId; 4]| {
        let width = bits.div_ceil(8);
        codecs.get(usize::from(width.checked_sub(1)?)).map(|&codec| (codec, width))
    };
    let big = [CODEC_ID_PCM_S8, CODEC_ID_PCM_S16BE, CODEC_ID_PCM_S24BE, CODEC_ID_PCM_S32BE];
    let little = [CODEC_ID_PCM_S8, CODEC_ID_PCM_S16LE, CODEC_ID_PCM_S24LE, CODEC_ID_PCM_S32LE];
    match &coding.map(|letter| letter.to_ascii_lowercase()) {
        b"none" | b"twos" => whole(big),
        b"sowt" => whole(little),
        b"in24" => Some((CODEC_ID_PCM_S24BE, 3)),
        b"in32" => Some((CODEC_ID_PCM_S32BE, 4)),
        b"42ni" => Some((CODEC_ID_PCM_S24LE, 3)),
        b"23ni" => Some((CODEC_ID_PCM_S32LE, 4)),
        b"fl32" => Some((CODEC_ID_PCM_F32BE, 4)),
        b"fl64" => Some((CODEC_ID_PCM_F64BE, 8)),
        b"alaw" => Some((CODEC_ID_PCM_ALAW, 1)),
        b"ulaw" => Some((CODEC_ID_PCM_MULAW, 1)),
        b"raw " if bits <= 8 => Some((CODEC_ID_PCM_U8, 1)),
        _ => None,
    }
}

/// A whole number from the 80-bit floating point of the 68881 processor: sign and exponent, then a
/// mantissa with its leading one written out.
fn extended(exponent: u16, mantissa: u64) -> Option<u32> {
    let power = exponent.checked_sub(16_383).filter(|&power| power < 32)?;
    u32::try_from(mantissa >> (63 - power)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 44100 and 48000 as every AIFF file spells them: 0x400e, then the number shifted to the top.
    #[test]
    fn rates_are_read_from_extended_floating_point() {
        assert_eq!(extended(0x400e, 44_100 << 48), Some(44_100));
        assert_eq!(extended(0x400e, 48_000 << 48), Some(48_000));
        assert_eq!(extended(0x400b, 8_000 << 51), Some(8_000));
        assert_eq!(extended(0x7fff, u64::MAX), None);
        assert_eq!(extended(0x3ffe, u64::MAX), None);
    }
}
