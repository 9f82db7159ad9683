//! Reading headers field by field, without trusting what they say.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

/// Four characters that name a box or chunk.
pub(super) type Name = [u8; 4];

/// Big-endian fields, one after the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fields<'a>(pub(super) &'a [u8]);

impl<'a> Fields<'a> {
    pub(super) fn take(&mut self, length: usize) -> Option<&'a [u8]> {
        let (head, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(head)
    }

    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        self.take(N)?.try_into().ok()
    }

    pub(super) fn skip(&mut self, length: usize) -> Option<()> {
        self.take(length).map(drop)
    }

    pub(super) fn name(&mut self) -> Option<Name> {
        self.array()
    }

    pub(super) fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|[byte]| byte)
    }

    pub(super) fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_be_bytes)
    }

    pub(super) fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_be_bytes)
    }

    pub(super) fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_be_bytes)
    }

    /// The number that is 64 bits wide in version 1 of a box and 32 in version 0.
    pub(super) fn wide(&mut self, version: u8) -> Option<u64> {
        if version == 1 { self.u64() } else { self.u32().map(u64::from) }
    }
}

/// Bytes from `start` on, at most `most`, fewer at the end of the file.
pub(super) fn read_at(file: &mut File, start: u64, most: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}
