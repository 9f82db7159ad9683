//! Where the packets of a track lie: the sample table of `moov` (ISO/IEC 14496-12, 8.6 and 8.7).
//!
//! The standard calls a packet a sample, and a run of packets that lie together a chunk.

use super::super::fields::Fields;
use super::boxes::child;

/// One packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Spot {
    /// First byte in the file.
    pub(super) at: u64,
    /// Bytes.
    pub(super) size: u32,
    /// How long it says that it lasts, on the track's own scale.
    pub(super) lasts: u32,
}

/// The table, read packet by packet. It takes as much memory as its boxes have bytes.
#[derive(Debug, Default)]
pub(super) struct Table {
    /// Packets that last equally long: how many, how long.
    times: Vec<(u32, u32)>,
    /// From this chunk on (from 0), so many packets lie in a chunk.
    groups: Vec<(u32, u32)>,
    sizes: Sizes,
    chunks: Vec<u64>,
    /// The next packet.
    packet: usize,
    /// Row of `times` and packets of it that are done.
    time: (usize, u32),
    /// Row of `groups`, chunk, packets of it that are done, bytes of it that are done.
    group: usize,
    chunk: usize,
    in_chunk: (u32, u64),
}

#[derive(Debug)]
enum Sizes {
    /// All the same: bytes, how many.
    Same(u32, u32),
    Each(Vec<u32>),
}

impl Default for Sizes {
    fn default() -> Self {
        Self::Each(Vec::new())
    }
}

impl Table {
    /// From the body of `stbl`. Boxes that are missing or cut give a table that ends early.
    pub(super) fn read(bytes: &[u8]) -> Self {
        let body = |name| child(bytes, name).unwrap_or_default();
        let chunks = if child(bytes, b"stco").is_some() {
            rows(body(b"stco"), 4, |fields| fields.u32().map(u64::from))
        } else {
            rows(body(b"co64"), 8, |fields| fields.u64())
        };
        Self {
            times: rows(body(b"stts"), 8, |fields| Some((fields.u32()?, fields.u32()?))),
            groups: rows(body(b"stsc"), 12, |fields| {
                let first = fields.u32()?.saturating_sub(1);
                let packets = fields.u32()?;
                fields.skip(4)?;
                Some((first, packets))
            }),
            sizes: Sizes::read(bytes),
            chunks,
            ..Self::default()
        }
    }

    /// Number of packets, and how long all of them last by the table.
    pub(super) fn total(&self) -> (u64, u64) {
        let count = match &self.sizes {
            Sizes::Same(_, count) => u64::from(*count),
            Sizes::Each(sizes) => sizes.len() as u64,
        };
        let lasting = |sum: u64, &(count, lasts): &(u32, u32)| {
            sum.saturating_add(u64::from(count) * u64::from(lasts))
        };
        (count, self.times.iter().fold(0, lasting))
    }

    /// The next packet; `None` at the end of any of the tables.
    pub(super) fn step(&mut self) -> Option<Spot> {
        let size = self.sizes.of(self.packet)?;
        let lasts = self.next_time();
        let at = self.next_place(size)?;
        self.packet += 1;
        Some(Spot { at, size, lasts })
    }

    fn next_time(&mut self) -> u32 {
        while let Some(&(count, lasts)) = self.times.get(self.time.0) {
            if self.time.1 < count {
                self.time.1 += 1;
                return lasts;
            }
            self.time = (self.time.0 + 1, 0);
        }
        0
    }

    fn next_place(&mut self, size: u32) -> Option<u64> {
        loop {
            let start = *self.chunks.get(self.chunk)?;
            let next = self.groups.get(self.group + 1);
            if next.is_some_and(|&(first, _)| first as usize <= self.chunk) {
                self.group += 1;
                continue;
            }
            let &(_, packets) = self.groups.get(self.group)?;
            let (done, bytes) = self.in_chunk;
            if done < packets {
                self.in_chunk = (done + 1, bytes + u64::from(size));
                return Some(start.saturating_add(bytes));
            }
            self.chunk += 1;
            self.in_chunk = (0, 0);
        }
    }
}

impl Sizes {
    fn read(bytes: &[u8]) -> Self {
        if let Some(body) = child(bytes, b"stsz") {
            let mut fields = Fields(body);
            let same = fields.skip(4).and_then(|()| fields.u32()).unwrap_or(0);
            let count = fields.u32().unwrap_or(0);
            if same > 0 {
                return Self::Same(same, count);
            }
            return Self::Each(entries(fields, count, 4, |fields| fields.u32()));
        }
        let mut fields = Fields(child(bytes, b"stz2").unwrap_or_default());
        let head = fields.skip(7).and_then(|()| fields.u8().zip(fields.u32()));
        Self::Each(match head {
            Some((8, count)) => entries(fields, count, 1, |fields| fields.u8().map(u32::from)),
            Some((16, count)) => entries(fields, count, 2, |fields| fields.u16().map(u32::from)),
            _ => Vec::new(),
        })
    }

    fn of(&self, packet: usize) -> Option<u32> {
        match self {
            Self::Same(size, count) => (packet < *count as usize).then_some(*size),
            Self::Each(sizes) => sizes.get(packet).copied(),
        }
    }
}

/// The rows of a table with version, flags and their count in front.
pub(super) fn rows<T>(
    body: &[u8],
    width: usize,
    read: impl Fn(&mut Fields<'_>) -> Option<T>,
) -> Vec<T> {
    let mut fields = Fields(body);
    let count = fields.skip(4).and_then(|()| fields.u32()).unwrap_or(0);
    entries(fields, count, width, read)
}

/// As many of `count` rows as there are bytes for.
fn entries<T>(
    mut fields: Fields<'_>,
    count: u32,
    width: usize,
    read: impl Fn(&mut Fields<'_>) -> Option<T>,
) -> Vec<T> {
    let count = (count as usize).min(fields.0.len() / width);
    (0..count).map_while(|_| read(&mut fields)).collect()
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    fn boxed(name: &[u8; 4], words: &[u32]) -> Vec<u8> {
        let body: Vec<u8> = words.iter().flat_map(|word| word.to_be_bytes()).collect();
        [&(body.len() as u32 + 8).to_be_bytes(), &name[..], &body].concat()
    }

    /// Worked by hand: chunks of two, two and one packets at 100, 200 and 300.
    #[test]
    fn packets_follow_each_other_inside_chunks_only() {
        let bytes = [
            boxed(b"stts", &[0, 2, 4, 1024, 1, 100]),
            boxed(b"stsc", &[0, 2, 1, 2, 1, 3, 1, 1]),
            boxed(b"stsz", &[0, 0, 5, 10, 20, 30, 40, 50]),
            boxed(b"stco", &[0, 3, 100, 200, 300]),
        ]
        .concat();
        let mut table = Table::read(&bytes);
        assert_eq!(table.total(), (5, 4 * 1024 + 100));
        let spots: Vec<_> = std::iter::from_fn(|| table.step()).collect();
        let places: Vec<_> = spots.iter().map(|spot| (spot.at, spot.size, spot.lasts)).collect();
        let expected =
            [(100, 10, 1024), (110, 20, 1024), (200, 30, 1024), (230, 40, 1024), (300, 50, 100)];
        assert_eq!(places, expected);
    }

    #[test]
    fn counts_beyond_the_bytes_take_no_memory() {
        let bytes = [boxed(b"stsz", &[0, 0, u32::MAX, 1, 2]), boxed(b"stco", &[0, u32::MAX])];
        let table = Table::read(&bytes.concat());
        assert_eq!(table.total(), (2, 0));
        assert!(table.chunks.is_empty());
    }
}
