//! Packets of a track, from the sample table and then from the fragments.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};

use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, Timestamp};

use super::super::feed::Packets;
use super::fragment::Fragments;
use super::table::{Spot, Table};

/// No packet of sound is longer, bytes: 65,536 instants of eight channels take 2 MiB.
const MOST_BYTES: u32 = 4 << 20;

/// Packets behind the end of the file that are stepped over in search of one that is inside.
const MOST_MISSING: u32 = 1_000_000;

/// How long packets last.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    /// Instants in each but the last, where that is fixed.
    pub(super) frame: Option<u32>,
    /// True where the track's own units are instants.
    pub(super) exact: bool,
}

/// Where packets lie.
pub(super) struct Spots {
    pub(super) table: Table,
    pub(super) fragments: Option<Fragments>,
    /// True where the index itself is cut.
    pub(super) cut: bool,
}

impl Spots {
    fn step(&mut self, file: &mut File) -> io::Result<Option<Spot>> {
        match (self.table.step(), &mut self.fragments) {
            (None, Some(fragments)) => fragments.step(file),
            (spot, _) => Ok(spot),
        }
    }
}

pub(super) struct Reader {
    file: BufReader<File>,
    /// Where `file` stands, while that is known.
    position: Option<u64>,
    length: u64,
    spots: Spots,
    next: Option<Spot>,
    pace: Pace,
    /// The instant of the next packet.
    at: u64,
    /// Packets since the last good one that are not in the file.
    missing: u32,
}

impl Reader {
    pub(super) fn new(
        mut file: File,
        length: u64,
        mut spots: Spots,
        pace: Pace,
    ) -> io::Result<Self> {
        let next = spots.step(&mut file)?;
        let file = BufReader::with_capacity(64 * 1024, file);
        Ok(Self { file, position: None, length, spots, next, pace, at: 0, missing: 0 })
    }

    fn advance(&mut self) -> io::Result<()> {
        // Looking for the next fragment moves the file's position under the buffer.
        if self.spots.fragments.as_ref().is_some_and(|fragments| fragments.waiting.is_empty()) {
            self.position = None;
        }
        self.next = self.spots.step(self.file.get_mut())?;
        Ok(())
    }

    /// How long `spot` lasts: with the last one, what fills it up is left out.
    fn lasts(&self, spot: Spot) -> (u32, u32) {
        let whole = self.pace.frame.unwrap_or(spot.lasts);
        let last = self.next.is_none() && self.pace.exact && spot.lasts > 0;
        (whole, if last { spot.lasts.min(whole) } else { whole })
    }

    fn read(&mut self, spot: Spot) -> io::Result<Vec<u8>> {
        let from = self.position.and_then(|position| {
            Some(i64::try_from(spot.at).ok()? - i64::try_from(position).ok()?)
        });
        match from {
            Some(offset) => self.file.seek_relative(offset)?,
            None => drop(self.file.seek(SeekFrom::Start(spot.at))?),
        }
        self.position = None;
        let mut data = Vec::new();
        Read::by_ref(&mut self.file).take(spot.size.into()).read_to_end(&mut data)?;
        self.position = Some(spot.at + data.len() as u64);
        Ok(data)
    }
}

impl Packets for Reader {
    fn step(&mut self) -> Result<Option<Packet>, Error> {
        while let Some(spot) = self.next {
            self.advance().map_err(Error::IoError)?;
            let (whole, lasts) = self.lasts(spot);
            let at = Timestamp::new(self.at.cast_signed());
            self.at = self.at.saturating_add(whole.into());
            if spot.at.saturating_add(spot.size.into()) > self.length {
                self.missing += 1;
                if self.missing > MOST_MISSING {
                    return Ok(None);
                }
                continue;
            }
            self.missing = 0;
            if spot.size > MOST_BYTES {
                return Err(Error::LimitError("a packet is too long"));
            }
            let data = self.read(spot).map_err(Error::IoError)?;
            return Ok(Some(Packet::new(0, at, Duration::from(lasts), data)));
        }
        Ok(None)
    }

    fn is_cut(&self) -> bool {
        let fragments = self.spots.fragments.as_ref();
        self.spots.cut || self.missing > 0 || fragments.is_some_and(|fragments| fragments.cut)
    }
}
