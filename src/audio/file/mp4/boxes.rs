//! Boxes of an MP4 file: a length, a name, a body (ISO/IEC 14496-12, 4.2).
//!
//! Lengths in a file are claims. Bodies are cut to the bytes that are there, and nothing is set
//! aside for bytes that are not.

use std::fs::File;
use std::io;

use super::super::fields::{Fields, Name, read_at};

/// The boxes that lie side by side in `bytes`.
pub(super) fn children(bytes: &[u8]) -> impl Iterator<Item = (Name, &[u8])> {
    let mut rest = Fields(bytes);
    std::iter::from_fn(move || {
        let all = rest.0.len() as u64;
        let stated = u64::from(rest.u32()?);
        let name = rest.name()?;
        let (header, length) = match stated {
            0 => (8, all),
            1 => (16, rest.u64()?),
            other => (8, other),
        };
        let body = usize::try_from(length.checked_sub(header)?).ok()?.min(rest.0.len());
        Some((name, rest.take(body)?))
    })
}

/// The body of the first box of this name.
pub(super) fn child<'a>(bytes: &'a [u8], name: &[u8; 4]) -> Option<&'a [u8]> {
    children(bytes).find(|(found, _)| found == name).map(|(_, body)| body)
}

/// The body of a box inside boxes, outermost name first.
pub(super) fn descend<'a>(bytes: &'a [u8], names: &[&[u8; 4]]) -> Option<&'a [u8]> {
    names.iter().try_fold(bytes, |inside, name| child(inside, name))
}

/// A box of the outermost level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outer {
    pub(super) name: Name,
    pub(super) start: u64,
    /// Where its body starts.
    pub(super) body: u64,
    /// Where it should end; the file may end before.
    pub(super) end: u64,
}

impl Outer {
    /// The box that starts at byte `at` of a file of `length` bytes; `None` at its end, or where
    /// there is no box.
    pub(super) fn read(file: &mut File, at: u64, length: u64) -> io::Result<Option<Self>> {
        let bytes = read_at(file, at, 16)?;
        let mut head = Fields(&bytes);
        let (Some(stated), Some(name)) = (head.u32(), head.name()) else { return Ok(None) };
        let (header, size) = match stated {
            0 => (8, length.saturating_sub(at)),
            1 => (16, head.u64().unwrap_or(0)),
            other => (8, u64::from(other)),
        };
        let printable = name.iter().all(|byte| (b' '..=b'~').contains(byte));
        let end = at.checked_add(size).filter(|_| size >= header && printable);
        Ok(end.map(|end| Self { name, start: at, body: at + header, end }))
    }

    /// Its body as far as it is there, at most `most` bytes.
    pub(super) fn bytes(self, file: &mut File, most: u64) -> io::Result<Vec<u8>> {
        read_at(file, self.body, most.min(self.end - self.body))
    }
}
