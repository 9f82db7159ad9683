//! Headers of MPEG audio frames, read far enough to tell MP3 from chance.
//!
//! Source of the tables: ISO/IEC 11172-3:1993, 2.4.2.3, and ISO/IEC 13818-3:1998, 2.4.2.3 (half the
//! rates); a quarter of the rates ("MPEG 2.5") is common practice, no standard.

/// What one frame says about itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Header {
    /// 1 to 3.
    pub(super) layer: u8,
    /// Sampling rate.
    pub(super) rate_hz: u32,
    /// 1 or 2.
    pub(super) channels: u16,
    /// Length with the header, bytes.
    pub(super) bytes: usize,
}

/// kbit/s by layer (III, II, I) for the full rates, then for the lower rates (III and II, I).
const FULL: [[u32; 14]; 3] = [
    [32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320],
    [32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384],
    [32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448],
];
const LOWER: [[u32; 14]; 2] = [
    [8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
    [32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256],
];

/// Frames that have to follow each other before bytes count as MPEG sound.
const CHAIN: usize = 4;

impl Header {
    /// `None` where the first four bytes are no header of a frame of known length.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let &[0xff, second, third, fourth, ..] = bytes else { return None };
        if second & 0xe0 != 0xe0 {
            return None;
        }
        let (quarters, full) = match (second >> 3) & 3 {
            3 => (4, true),
            2 => (2, false),
            0 => (1, false),
            _ => return None,
        };
        let layer = 4_u8.checked_sub((second >> 1) & 3).filter(|&layer| layer < 4)?;
        let row = match (full, layer) {
            (true, 3) => FULL.first(),
            (true, 2) => FULL.get(1),
            (true, _) => FULL.get(2),
            (false, 1) => LOWER.get(1),
            (false, _) => LOWER.first(),
        }?;
        let kbit = *row.get(usize::from(third >> 4).checked_sub(1)?)?;
        let rate_hz = [11_025, 12_000, 8_000].get(usize::from((third >> 2) & 3))? * quarters;
        let padding = usize::from((third >> 1) & 1);
        let per_second = |bytes: u32| usize::try_from(bytes * kbit * 1000 / rate_hz).ok();
        let bytes = match (layer, full) {
            (1, _) => (per_second(12)? + padding) * 4,
            (3, false) => per_second(72)? + padding,
            _ => per_second(144)? + padding,
        };
        let channels = if fourth >> 6 == 3 { 1 } else { 2 };
        Some(Self { layer, rate_hz, channels, bytes })
    }

    /// True where both can belong to one stream.
    fn matches(self, other: Self) -> bool {
        self.layer == other.layer && self.rate_hz == other.rate_hz
    }
}

/// Offset and header of the first frame that is followed by others of its kind, without a gap, up
/// to the end of `bytes` or four of them.
pub(super) fn find_chain(bytes: &[u8]) -> Option<(u64, Header)> {
    (0..bytes.len()).find_map(|start| {
        let first = Header::read(bytes.get(start..)?)?;
        chained(bytes, start, first).then_some((u64::try_from(start).ok()?, first))
    })
}

fn chained(bytes: &[u8], start: usize, first: Header) -> bool {
    let mut at = start;
    for links in 0..CHAIN {
        match bytes.get(at..).filter(|rest| rest.len() >= 4) {
            // A whole file may be shorter than the chain; two frames are the least.
            None => return links >= 2 && at <= bytes.len() + first.bytes,
            Some(rest) => match Header::read(rest).filter(|next| next.matches(first)) {
                Some(next) => at += next.bytes,
                None => return false,
            },
        }
    }
    true
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    /// Lengths by the formula of the standard, 144 * bit rate / sampling rate + padding for a layer
    /// III frame of 1152 samples and half of that for one of 576, worked by hand.
    #[test]
    fn frames_are_as_long_as_the_standard_says() {
        let length = |bytes: [u8; 4]| Header::read(&bytes).map(|h| (h.layer, h.rate_hz, h.bytes));
        assert_eq!(length([0xff, 0xfb, 0x90, 0x64]), Some((3, 44_100, 417)));
        assert_eq!(length([0xff, 0xfb, 0x92, 0x64]), Some((3, 44_100, 418)));
        assert_eq!(length([0xff, 0xfb, 0xe4, 0x64]), Some((3, 48_000, 960)));
        assert_eq!(length([0xff, 0xf3, 0x80, 0xc4]), Some((3, 22_050, 208)));
        assert_eq!(length([0xff, 0xe3, 0x18, 0xc4]), Some((3, 8_000, 72)));
        assert_eq!(length([0xff, 0xfd, 0x84, 0x00]), Some((2, 48_000, 384)));
        assert_eq!(length([0xff, 0xff, 0xc8, 0x00]), Some((1, 32_000, 576)));
        for none in [[0xff, 0xfb, 0x00, 0], [0xff, 0xfb, 0xf0, 0], [0xff, 0xfb, 0x9c, 0]] {
            assert_eq!(Header::read(&none), None);
        }
        assert_eq!(Header::read(&[0xff, 0xfb, 0x90, 0xc4]).unwrap().channels, 1);
    }
}
