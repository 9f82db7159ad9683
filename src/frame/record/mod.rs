//! The duty file: a song's duties, to be kept, looked at, converted and replayed.
//!
//! A duty file (`NAME.duty`) is nothing but packets as set out in [`wire`](super::wire), one after
//! another. Coils stand in display order, all of them in one DUTY packet.
//!
//! | packet | how many | its frame number |
//! | --- | --- | --- |
//! | HEAD | one, first | 0 |
//! | START | none, or one after HEAD | 0 |
//! | EDIT | where hands did something, before the DUTY they first bear on | that DUTY's |
//! | DUTY | one for every frame | the frame's, counting up by 1 from 0 |
//! | METER | among the DUTY packets, no more than 20 a second | last frame it covers |
//! | OFF | one, after the last frame | the number after the last frame's |
//! | TAIL | one, last | the same |
//!
//! Frame k is due at k x den / num seconds of the sound (`rate` in HEAD). What it shows happens in the
//! sound `lead_us` later: frames that lead were made for a fluid that follows late, and are played at
//! their time all the same. `lag`, where it is there, says how late.
//!
//! # HEAD and TAIL
//!
//! One JSON object (RFC 8259, UTF-8, no byte order mark) whose keys are the fields of
//! [`Head`](super::Head) and [`Tail`](super::Tail). A number with a fraction is written with the
//! fewest digits that read back exactly. As HEAD's kind and frame number stuff to the same bytes in
//! every file, every duty file begins with [`FIRST_BYTES`].
//!
//! # DUTY
//!
//! The codes, packed as HEAD's `packing` says: see [`pack`](super::pack). Each coil's code lies
//! within what HEAD's `coils` allow, `steps` being full duty.
//!
//! # METER
//!
//! Whole numbers are u32, all others IEEE 754 single precision, all low byte first. HEAD says how
//! many bands and rails there are.
//!
//! ```text
//! offset   what
//! 0        flags: bit 0 the sound counted as quiet; the others 0
//! 4        wished: sizes of the wishes added up over the coils, mean over the frames
//! 8        granted, likewise
//! 12       cut by heat, likewise
//! 16       cut by the rails, likewise
//! 20       cut by the driver, likewise
//! 24       enclosure, C
//! 28       winding closest to its bound: coil number (whole), then C now, bound, limit
//! 44       backing closest to its bound: the same four
//! 60       highest level of each band, dBFS
//! ...      mean current of each rail, A
//! ...      highest frame current of each rail, A
//! ```
//!
//! # START and EDIT
//!
//! What entered a live run besides sound; with the sound they make the same file again. Whoever only
//! plays the frames passes over them.
//!
//! ```text
//! START    0        0 cold, 1 warm, 2 unknown, 3 by the temperatures that follow
//!          1        each node's temperature, C, IEEE 754 double precision, low byte first
//! EDIT     0        flags: bit 0 all off, bit 1 wishes held
//!          1        factor on all wishes, percent
//!          2        mapping at work, from 0
//!          3        0
//! ```
//!
//! # Reading a file that another version wrote
//!
//! HEAD's `version` is `[major, minor]`. Another major: refuse the file. Another minor: read it. A
//! higher minor may bring packet kinds, keys in HEAD and TAIL, METER flags and bytes at the end of
//! METER; a reader passes over what it does not know. It may not change what is written here. A tool
//! that copies packets should pass on those it does not know, unchanged.
//!
//! # A file that was cut or damaged
//!
//! Every packet stands for itself. A reader hands out whole packets, goes on after the next
//! delimiter and says what it missed. A file without TAIL was cut short; it plays up to its last
//! whole packet, and **then all coils are off**, whether an OFF came or not. A frame that is
//! missing holds no new duty: a player lets the driver's own time-out decide, as with a lost packet.
//!
//! Codes in a file are a record, not a permission ([`RecordedCode`](super::RecordedCode)): the tank
//! that is plugged in now may be another, or warmer.

mod contents;
mod head;
mod inputs;
mod meter;
mod order;
mod reader;
#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]
mod tests;
mod writer;

pub use head::{HeadError, check_head};
pub use inputs::Inputs;
pub use meter::frames_per_meter;
pub use reader::{Damage, Entry, Flaw, ReadError, Reader};
pub use writer::{WriteError, Writer};

/// Major and minor version of the format that [`Writer`] writes.
pub const FORMAT: [u16; 2] = [1, 1];

/// How the name of a duty file ends, after the dot.
pub const SUFFIX: &str = "duty";

/// What every duty file begins with.
pub const FIRST_BYTES: [u8; 5] = [0x02, 0x10, 0x01, 0x01, 0x01];

/// Most coils in a file.
pub const MOST_COILS: u64 = 65_536;

/// Most bytes of payload in a packet of a file; the TAIL of [`MOST_COILS`] coils fits.
pub const LARGEST_PAYLOAD: usize = 16 << 20;
