//! Packets: how frames travel to a board and how they lie in a file.
//!
//! Everything below is all there is; a reader can be written from this page.
//!
//! # A packet
//!
//! ```text
//! offset   size   what
//! 0        1      kind, see the table
//! 1        4      frame number, low byte first
//! 5        n      payload, n may be 0
//! 5 + n    4      check: CRC-32 over everything before it, low byte first
//! ```
//!
//! The check is the catalogue entry CRC-32/ISO-HDLC: polynomial 0x04C11DB7, start 0xFFFFFFFF, bits
//! reflected in and out, result inverted. Over the nine characters `123456789` it is 0xCBF43926.
//! Ethernet, gzip and PNG use the same.
//!
//! # On the wire
//!
//! The packet is stuffed so that it holds no zero byte, and one zero byte, the delimiter, follows.
//! The stuffing is COBS (Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
//! Transactions on Networking 7(2), 1999). To undo it, begin at the first byte:
//!
//! 1. Read a code byte c. Copy the c - 1 bytes after it.
//! 2. At the end of the piece: done. A piece that ends before those bytes do is damaged.
//! 3. Otherwise, if c is less than 255, append a zero byte. Go on at 1.
//!
//! A piece whose last block holds exactly 254 bytes may end there or with one more byte 01; both
//! mean the same. This encoder leaves the 01 out, readers accept both.
//!
//! Bytes between two delimiters are a piece. An empty piece means nothing: whoever begins to send
//! may put a delimiter first, so that a broken piece before it does not swallow the first packet.
//! After damage a reader goes on after the next delimiter. Packets of unknown kind are skipped.
//!
//! OFF for frame 7, whole:
//!
//! ```
//! use coilscore::frame::wire::{Encoder, Kind};
//! let bytes = Encoder::new(0).packet(Kind::Off, 7, &[]).to_vec();
//! assert_eq!(bytes, [3, 0x03, 0x07, 1, 1, 5, 0x74, 0xB5, 0x55, 0x1C, 0x00]);
//! ```
//!
//! # Kinds
//!
//! | number | name | found in | payload |
//! | --- | --- | --- | --- |
//! | 0x01 | HELLO | link | who one is, and whether it fits: see [`hello`] |
//! | 0x02 | DUTY | link, file | one code a coil, packed as agreed before: see [`pack`](super::pack) |
//! | 0x03 | OFF | link, file | none: every coil off, now |
//! | 0x04 | STATUS | link | what the board reports: see [`status`] |
//! | 0x05 | LIMITS | link | what the board is to let through at most: see [`limits`] |
//! | 0x10 | HEAD | file | JSON, see [`record`](super::record) |
//! | 0x11 | METER | file | numbers, see [`record`](super::record) |
//! | 0x12 | TAIL | file | JSON, see [`record`](super::record) |
//! | 0x13 | START | file | reserved; heat at the start of a recorded run |
//! | 0x14 | GAP | file | reserved; lost sound in a recorded run |
//! | 0x15 | EDIT | file | reserved; a change of the mapping in a recorded run |
//! | 0x16 | OBSERVED | file | reserved; a board's report in a recorded run |
//!
//! "Reserved" numbers are taken and not yet written. The code in a DUTY packet is the compare
//! value of the driver, 0 to its steps or -steps to steps for two-way drivers; nothing rescales it
//! on the way.
//!
//! # On a link
//!
//! A link is a serial line of its own between the host and one board: 8N1, no flow control, at a
//! speed both know. One DUTY packet carries all channels of the board in their order, 0 for those
//! that drive no coil. The board takes it after a good HELLO, when its number is newer than the last
//! one's (of two numbers the newer is the one less than 2^31 ahead, as in RFC 1982), its length is
//! exact and every code is one that its driver has; it drops and counts all others. It holds codes
//! to its limits, and switches all off by itself when frames stop for longer than its hold. It obeys
//! OFF always, whatever the number and whether it was greeted or not.

mod decoder;
mod encoder;
mod fields;
pub mod hello;
pub mod limits;
pub mod line;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod link_tests;
pub mod status;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests;

pub use decoder::{Counts, Damage, Decoder, Fault};
pub use encoder::Encoder;

use crc::{CRC_32_ISO_HDLC, Crc, Table};

/// Ends every piece; never inside one.
pub const DELIMITER: u8 = 0;

/// Bytes of a packet beside its payload: kind, frame number and check.
pub const OVERHEAD: usize = 9;

/// Sixteen tables: the check is taken over sixteen bytes at a time.
const CRC: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISO_HDLC);

/// What a packet is. The numbers stand in the [module's table](self#kinds).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Kind {
    /// Both ends of a link introduce themselves.
    Hello = 0x01,
    /// One code for each coil.
    Duty = 0x02,
    /// All coils off.
    Off = 0x03,
    /// The board's report.
    Status = 0x04,
    /// What the board is to let through at most.
    Limits = 0x05,
    /// First packet of a file.
    Head = 0x10,
    /// What a stretch of frames did.
    Meter = 0x11,
    /// Last packet of a whole file.
    Tail = 0x12,
    /// Reserved: heat at the start of a recorded run.
    Start = 0x13,
    /// Reserved: lost sound.
    Gap = 0x14,
    /// Reserved: a change of the mapping.
    Edit = 0x15,
    /// Reserved: a board's report in a recorded run.
    Observed = 0x16,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::Hello,
        Self::Duty,
        Self::Off,
        Self::Status,
        Self::Limits,
        Self::Head,
        Self::Meter,
        Self::Tail,
        Self::Start,
        Self::Gap,
        Self::Edit,
        Self::Observed,
    ];

    /// Its number in the packet.
    pub fn number(self) -> u8 {
        self as u8
    }

    /// The kind with this number, if there is one.
    pub fn from_number(number: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.number() == number)
    }
}

/// A whole packet whose check was right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packet<'a> {
    /// What it is.
    pub kind: Kind,
    /// Frame it belongs to.
    pub frame: u32,
    /// Its contents.
    pub payload: &'a [u8],
    /// Where in the stream its first stuffed byte was, from 0.
    pub at: u64,
}

/// CRC-32/ISO-HDLC.
pub fn check(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// The most bytes that so many unstuffed bytes can become, either way of writing a full last
/// block, without the delimiter.
pub const fn stuffed_len(raw: usize) -> usize {
    raw + raw / 254 + 1
}

/// Replaces `out` by `raw`, stuffed, and the delimiter.
pub fn stuff(raw: &[u8], out: &mut Vec<u8>) {
    out.clear();
    out.resize(stuffed_len(raw.len()), 0);
    // There is room for the longest result; if there were not, an empty piece means nothing.
    let len = cobs::try_encode(raw, out).unwrap_or(0);
    out.truncate(len);
    out.push(DELIMITER);
}

/// Undoes the stuffing of a piece (without its delimiter) in place; `None` if it is damaged: it is
/// empty, holds a zero byte, or a code byte points past its end.
pub fn unstuff(piece: &mut [u8]) -> Option<&[u8]> {
    let len = piece.len();
    let report = cobs::decode_in_place_report(piece).ok()?;
    if report.parsed_size() == len { piece.get(..report.frame_size()) } else { None }
}
