//! Packets to bytes.

use super::{Kind, OVERHEAD, check, stuff, stuffed_len};
use crate::budget::Duty;
use crate::frame::Packing;
use crate::frame::pack::PackError;

/// Makes packets in two buffers that it keeps.
#[derive(Debug, Clone)]
pub struct Encoder {
    raw: Vec<u8>,
    stuffed: Vec<u8>,
}

impl Encoder {
    /// Takes the memory for payloads of up to `largest_payload` bytes. A longer one is encoded all
    /// the same, but takes memory then.
    pub fn new(largest_payload: usize) -> Self {
        let raw = OVERHEAD.saturating_add(largest_payload);
        Self {
            raw: Vec::with_capacity(raw),
            stuffed: Vec::with_capacity(stuffed_len(raw).saturating_add(1)),
        }
    }

    /// A packet with any payload: stuffed, delimiter included.
    pub fn packet(&mut self, kind: Kind, frame: u32, payload: &[u8]) -> &[u8] {
        self.begin(kind, frame);
        self.raw.extend_from_slice(payload);
        self.end()
    }

    /// DUTY.
    ///
    /// # Errors
    ///
    /// The first duty that the packing cannot carry.
    pub fn duty(
        &mut self,
        frame: u32,
        packing: Packing,
        duties: &[Duty],
    ) -> Result<&[u8], PackError> {
        self.codes(frame, packing, duties.iter().map(|duty| duty.code()))
    }

    /// OFF.
    pub fn off(&mut self, frame: u32) -> &[u8] {
        self.packet(Kind::Off, frame, &[])
    }

    /// DUTY from codes.
    pub(crate) fn codes(
        &mut self,
        frame: u32,
        packing: Packing,
        codes: impl Iterator<Item = i32> + Clone,
    ) -> Result<&[u8], PackError> {
        self.packet_with(Kind::Duty, frame, |payload| packing.pack_codes(codes, payload))
    }

    /// A packet whose payload `fill` appends in place; nothing comes of it if that fails.
    pub(crate) fn packet_with<E>(
        &mut self,
        kind: Kind,
        frame: u32,
        fill: impl FnOnce(&mut Vec<u8>) -> Result<(), E>,
    ) -> Result<&[u8], E> {
        self.begin(kind, frame);
        fill(&mut self.raw)?;
        Ok(self.end())
    }

    fn begin(&mut self, kind: Kind, frame: u32) {
        self.raw.clear();
        self.raw.push(kind.number());
        self.raw.extend_from_slice(&frame.to_le_bytes());
    }

    fn end(&mut self) -> &[u8] {
        let check = check(&self.raw);
        self.raw.extend_from_slice(&check.to_le_bytes());
        stuff(&self.raw, &mut self.stuffed);
        &self.stuffed
    }
}
