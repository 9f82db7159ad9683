//! Bytes to packets, whatever the bytes are.

use super::{DELIMITER, Kind, OVERHEAD, Packet, check, stuffed_len, unstuff};

/// What was wrong with a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// The check does not match.
    #[error("the check (CRC-32) of a packet is wrong")]
    Check,
    /// The stuffing cannot be undone.
    #[error("the byte stuffing of a packet is broken")]
    Stuffing,
    /// Fewer bytes than the smallest packet has.
    #[error("a piece is too short to be a packet")]
    TooShort,
    /// More bytes than the reader takes.
    #[error("a piece is longer than any packet may be")]
    TooLong,
}

/// A piece that was no packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("byte {at}: {fault}")]
pub struct Damage {
    /// Where in the stream the piece began, from 0.
    pub at: u64,
    /// What was wrong.
    pub fault: Fault,
}

/// What went through a [`Decoder`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Packets handed out.
    pub packets: u64,
    /// Whole packets of unknown kind, skipped: no damage.
    pub unknown: u64,
    /// Pieces lost to [`Fault::Check`].
    pub bad_check: u64,
    /// Pieces lost to [`Fault::Stuffing`].
    pub bad_stuffing: u64,
    /// Pieces lost to [`Fault::TooShort`].
    pub too_short: u64,
    /// Pieces lost to [`Fault::TooLong`].
    pub too_long: u64,
}

impl Counts {
    /// Pieces lost to damage.
    pub fn lost(&self) -> u64 {
        self.bad_check + self.bad_stuffing + self.too_short + self.too_long
    }

    fn add(&mut self, fault: Fault) {
        *match fault {
            Fault::Check => &mut self.bad_check,
            Fault::Stuffing => &mut self.bad_stuffing,
            Fault::TooShort => &mut self.too_short,
            Fault::TooLong => &mut self.too_long,
        } += 1;
    }
}

/// Memory a decoder takes at once; beyond it, it grows with the packets that come.
const ROOM_AT_ONCE: usize = 64 * 1024;

/// Takes any bytes in any portions and hands out whole packets.
///
/// ```
/// use coilscore::frame::wire::{Decoder, Encoder};
/// let stream = Encoder::new(0).off(7).to_vec();
/// let mut decoder = Decoder::new(64);
/// let mut portion = stream.as_slice();
/// while let Some(heard) = decoder.take(&mut portion) {
///     assert_eq!(heard.unwrap().frame, 7);
/// }
/// ```
#[derive(Debug)]
pub struct Decoder {
    piece: Vec<u8>,
    longest: usize,
    stage: Stage,
    /// Where in the stream the next byte is.
    at: u64,
    piece_at: u64,
    counts: Counts,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// Bytes go to the piece.
    Collect,
    /// The piece was too long: bytes go nowhere until the next delimiter.
    Skip,
    /// The piece is unstuffed and was handed out.
    Spent,
}

/// What a piece turned out to be.
enum Outcome {
    Nothing,
    Damage(Damage),
    Packet { kind: Kind, len: usize },
}

impl Decoder {
    /// Takes packets with payloads of up to `largest_payload` bytes. Takes no memory later unless
    /// packets exceed 64 KiB.
    pub fn new(largest_payload: usize) -> Self {
        let longest = stuffed_len(OVERHEAD.saturating_add(largest_payload).min(usize::MAX / 2));
        Self {
            piece: Vec::with_capacity(longest.min(ROOM_AT_ONCE)),
            longest,
            stage: Stage::Collect,
            at: 0,
            piece_at: 0,
            counts: Counts::default(),
        }
    }

    /// Takes bytes off the front of `bytes` until there is a packet or damage to tell of; `None`
    /// when all are taken. Call it until then.
    pub fn take(&mut self, bytes: &mut &[u8]) -> Option<Result<Packet<'_>, Damage>> {
        let (kind, len) = loop {
            if bytes.is_empty() {
                return None;
            }
            match self.step(bytes) {
                Outcome::Nothing => {}
                Outcome::Damage(damage) => {
                    self.counts.add(damage.fault);
                    return Some(Err(damage));
                }
                Outcome::Packet { kind, len } => break (kind, len),
            }
        };
        self.counts.packets += 1;
        let (frame, rest) = self.piece.get(1..len)?.split_first_chunk()?;
        let (payload, _check) = rest.split_last_chunk::<4>()?;
        let frame = u32::from_le_bytes(*frame);
        Some(Ok(Packet { kind, frame, payload, at: self.piece_at }))
    }

    /// What was seen so far.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Where in the stream a piece began whose delimiter has not come yet, if there is one.
    pub fn unfinished(&self) -> Option<u64> {
        let begun =
            self.stage == Stage::Skip || (self.stage == Stage::Collect && !self.piece.is_empty());
        begun.then_some(self.piece_at)
    }

    /// Where in the stream the next byte is.
    pub fn position(&self) -> u64 {
        self.at
    }

    /// Takes bytes up to the delimiter or the end of the portion.
    fn step(&mut self, bytes: &mut &[u8]) -> Outcome {
        if self.stage == Stage::Spent {
            self.stage = Stage::Collect;
            self.piece.clear();
        }
        if self.stage == Stage::Collect && self.piece.is_empty() {
            self.piece_at = self.at;
        }
        let all = *bytes;
        let end = all.iter().position(|&byte| byte == DELIMITER);
        let (part, rest) = all.split_at_checked(end.unwrap_or(all.len())).unwrap_or((all, &[]));
        let rest = if end.is_some() { rest.get(1..).unwrap_or(&[]) } else { rest };
        *bytes = rest;
        self.at += (all.len() - rest.len()) as u64;
        self.collect(part, end.is_some())
    }

    fn collect(&mut self, part: &[u8], ended: bool) -> Outcome {
        let skipped = self.stage == Stage::Skip;
        if !skipped && self.piece.len() + part.len() > self.longest {
            self.piece.clear();
            self.stage = if ended { Stage::Collect } else { Stage::Skip };
            return self.damage(Fault::TooLong);
        }
        if !skipped {
            self.piece.extend_from_slice(part);
        }
        match ended {
            false => Outcome::Nothing,
            true if skipped => {
                self.stage = Stage::Collect;
                Outcome::Nothing
            }
            true if self.piece.is_empty() => Outcome::Nothing,
            true => self.open_piece(),
        }
    }

    fn open_piece(&mut self) -> Outcome {
        self.stage = Stage::Spent;
        let Some(raw) = unstuff(&mut self.piece) else { return self.damage(Fault::Stuffing) };
        if raw.len() < OVERHEAD {
            return self.damage(Fault::TooShort);
        }
        let Some((body, stated)) = raw.split_last_chunk() else {
            return self.damage(Fault::TooShort);
        };
        if check(body) != u32::from_le_bytes(*stated) {
            return self.damage(Fault::Check);
        }
        match body.first().copied().and_then(Kind::from_number) {
            Some(kind) => Outcome::Packet { kind, len: raw.len() },
            None => {
                self.counts.unknown += 1;
                Outcome::Nothing
            }
        }
    }

    fn damage(&self, fault: Fault) -> Outcome {
        Outcome::Damage(Damage { at: self.piece_at, fault })
    }
}
