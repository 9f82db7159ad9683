//! What kind of AAC it is: only the plain one ("low complexity", two channels at most) is decoded.

use super::fields::Fields;

/// Samples of one channel in a packet.
pub(super) const FRAME: u32 = 1024;

/// Sampling rates by index (ISO/IEC 14496-3, table 1.18).
const RATES_HZ: [u32; 13] = [
    96_000, 88_200, 64_000, 48_000, 44_100, 32_000, 24_000, 22_050, 16_000, 12_000, 11_025, 8_000,
    7_350,
];

/// Channels by configuration (ISO/IEC 14496-3, table 1.19); 0: told elsewhere.
const CHANNELS: [u16; 8] = [0, 1, 2, 3, 4, 5, 6, 8];

/// What HE-AAC is called in messages.
pub(super) const HIGH_EFFICIENCY: &str = "HE-AAC sound, of which only the lower half of the \
                                          spectrum could be decoded";

/// A sound that can be decoded, as far as its header tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Plain {
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
}

/// Why it cannot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unfit {
    /// It is of another kind.
    Kind(&'static str),
    /// It has so many channels.
    Channels(usize),
    /// The header makes no sense.
    Broken,
}

impl Plain {
    /// From the indices that every header holds.
    pub(super) fn of(object: u32, rate: u32, channels: u32) -> Result<Self, Unfit> {
        let rate_hz = RATES_HZ.get(rate as usize).copied().ok_or(Unfit::Broken)?;
        Self::with_rate(object, rate_hz, channels)
    }

    fn with_rate(object: u32, rate_hz: u32, channels: u32) -> Result<Self, Unfit> {
        let kind = match object {
            2 => None,
            1 => Some("AAC sound of the main profile"),
            3 => Some("AAC sound of the scalable-rate profile"),
            4 => Some("AAC sound with long-term prediction"),
            5 | 29 => Some(HIGH_EFFICIENCY),
            17 | 19 | 20 | 23 | 39 => Some("AAC sound for low delay or error-prone lines"),
            34 => Some("MP3 sound"),
            36 => Some("MPEG-4 ALS sound"),
            42 => Some("xHE-AAC sound"),
            _ => Some("MPEG-4 sound of a kind that is not known here"),
        };
        if let Some(kind) = kind {
            return Err(Unfit::Kind(kind));
        }
        match CHANNELS.get(channels as usize) {
            Some(0) => Err(Unfit::Kind("AAC sound with a channel layout of its own")),
            Some(&channels @ (1 | 2)) => Ok(Self { rate_hz, channels }),
            Some(&channels) => Err(Unfit::Channels(channels.into())),
            None => Err(Unfit::Kind("AAC sound with a channel layout that is not known here")),
        }
    }

    /// From an AudioSpecificConfig (ISO/IEC 14496-3, 1.6.2.1).
    pub(super) fn read(config: &[u8]) -> Result<Self, Unfit> {
        Self::parse(&mut Bits { bytes: config, at: 0 }).unwrap_or(Err(Unfit::Broken))
    }

    fn parse(bits: &mut Bits<'_>) -> Option<Result<Self, Unfit>> {
        let object = bits.object()?;
        let rate_hz = match bits.take(4)? {
            15 => Some(bits.take(24)?),
            index => RATES_HZ.get(index as usize).copied(),
        };
        let Some(rate_hz) = rate_hz else { return Some(Err(Unfit::Broken)) };
        let channels = bits.take(4)?;
        let plain = Self::with_rate(object, rate_hz, channels);
        if plain.is_err() {
            return Some(plain);
        }
        if bits.take(1)? == 1 {
            return Some(Err(Unfit::Kind("AAC sound in packets of 960 samples")));
        }
        if bits.take(1)? == 1 {
            bits.take(14)?;
        }
        bits.take(1)?;
        // An extension that older decoders do not look for: the upper half of the spectrum.
        if bits.take(11) == Some(0x2b7) && bits.object() == Some(5) && bits.take(1) == Some(1) {
            return Some(Err(Unfit::Kind(HIGH_EFFICIENCY)));
        }
        Some(plain)
    }
}

struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn take(&mut self, count: usize) -> Option<u32> {
        let mut value = 0;
        for _ in 0..count {
            let byte = self.bytes.get(self.at / 8)?;
            value = (value << 1) | u32::from((byte >> (7 - self.at % 8)) & 1);
            self.at += 1;
        }
        Some(value)
    }

    fn object(&mut self) -> Option<u32> {
        match self.take(5)? {
            31 => Some(32 + self.take(6)?),
            object => Some(object),
        }
    }
}

/// True where most of these packets carry the upper half of a spectrum (SBR), which headers need
/// not announce (ISO/IEC 14496-3, 1.6.5.2: implicit signalling).
///
/// Such data sit in a fill element right before the mark of the packet's end. Elements have no
/// length in front, so they are looked for from the end: a fill element whose length leads there.
/// By chance that happens in about one packet of seventy.
pub(super) fn carry_high_half<'a>(packets: impl Iterator<Item = &'a [u8]>) -> bool {
    let (mut all, mut with) = (0, 0);
    for packet in packets {
        all += 1;
        with += u32::from(ends_in_high_half(packet));
    }
    all >= 4 && 2 * with > all
}

fn ends_in_high_half(packet: &[u8]) -> bool {
    let Some(last) = packet.iter().rposition(|&byte| byte != 0) else { return false };
    let zeros = packet.get(last).map_or(0, |byte| byte.trailing_zeros() as usize);
    // The end mark is three ones.
    let Some(end) = (last * 8 + 8 - zeros).checked_sub(3) else { return false };
    let field = |at: usize, count: usize| Bits { bytes: packet, at }.take(count);
    // Lengths below 15 bytes stand in four bits, others in eight more.
    let short = (1..15).map(|bytes| (bytes, 7));
    let long = (14..270).map(|bytes| (bytes, 15));
    field(end, 3) == Some(7)
        && short.chain(long).any(|(bytes, head)| {
            let Some(at) = end.checked_sub(bytes * 8 + head) else { return false };
            let stated = match head {
                7 => field(at + 3, 4),
                _ => field(at + 3, 4)
                    .filter(|&four| four == 15)
                    .and_then(|_| field(at + 7, 8).map(|eight| eight + 14)),
            };
            field(at, 3) == Some(6)
                && stated == u32::try_from(bytes).ok()
                && matches!(field(at + head, 4), Some(13 | 14))
        })
}

/// The decoder configuration inside an `esds` box: object type and AudioSpecificConfig (ISO/IEC
/// 14496-1, 7.2.6).
pub(super) fn decoder_config(esds: &[u8]) -> Option<(u8, &[u8])> {
    let mut fields = Fields(esds);
    fields.skip(4)?;
    let mut stream = Fields(descriptor(&mut fields, 3)?);
    stream.skip(2)?;
    let flags = stream.u8()?;
    if flags & 0x80 != 0 {
        stream.skip(2)?;
    }
    if flags & 0x40 != 0 {
        let length = stream.u8()?;
        stream.skip(length.into())?;
    }
    if flags & 0x20 != 0 {
        stream.skip(2)?;
    }
    let mut config = Fields(descriptor(&mut stream, 4)?);
    let object = config.u8()?;
    config.skip(12)?;
    Some((object, descriptor(&mut config, 5).unwrap_or_default()))
}

/// The body of the next descriptor if it has this tag, cut to what is there.
fn descriptor<'a>(fields: &mut Fields<'a>, tag: u8) -> Option<&'a [u8]> {
    if fields.u8()? != tag {
        return None;
    }
    let mut length = 0_usize;
    for _ in 0..4 {
        let byte = fields.u8()?;
        length = (length << 7) | usize::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            break;
        }
    }
    fields.take(length.min(fields.0.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Configurations worked by hand from the syntax in ISO/IEC 14496-3, 1.6.2.1.
    #[test]
    fn the_kind_of_aac_is_told_from_its_configuration() {
        let plain = |rate_hz, channels| Ok(Plain { rate_hz, channels });
        // 00010 0100 0010 000: low complexity, 44.1 kHz, stereo.
        assert_eq!(Plain::read(&[0x12, 0x10]), plain(44_100, 2));
        assert_eq!(Plain::read(&[0x11, 0x88]), plain(48_000, 1));
        // The same with a rate written out: 00010 1111, 44056 in 24 bits, 0010 000.
        assert_eq!(Plain::read(&[0x17, 0x80, 0x56, 0x0c, 0x10]), plain(44_056, 2));
        // Announced upper half, in front and behind.
        assert_eq!(Plain::read(&[0x2b, 0x92, 0x08, 0x00]), Err(Unfit::Kind(HIGH_EFFICIENCY)));
        assert_eq!(Plain::read(&[0x13, 0x90, 0x56, 0xe5, 0xa0]), Err(Unfit::Kind(HIGH_EFFICIENCY)));
        // The extension may say that there is none.
        assert_eq!(Plain::read(&[0x13, 0x90, 0x56, 0xe5, 0x00]), plain(22_050, 2));
        assert_eq!(Plain::read(&[0x12, 0x30]), Err(Unfit::Channels(6)));
        assert_eq!(
            Plain::read(&[0x12, 0x14]),
            Err(Unfit::Kind("AAC sound in packets of 960 samples"))
        );
        assert_eq!(Plain::read(&[0x12]), Err(Unfit::Broken));
        assert!(
            matches!(Plain::read(&[0x0a, 0x10]), Err(Unfit::Kind(kind)) if kind.contains("main"))
        );
    }
}
