//! Numbers out of a payload, low byte first; none where the bytes have run out.

/// What is left of a payload.
pub(super) struct Fields<'a>(pub(super) &'a [u8]);

impl Fields<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }

    pub(super) fn u8(&mut self) -> Option<u8> {
        self.take().map(u8::from_le_bytes)
    }

    pub(super) fn u16(&mut self) -> Option<u16> {
        self.take().map(u16::from_le_bytes)
    }

    pub(super) fn i16(&mut self) -> Option<i16> {
        self.take().map(i16::from_le_bytes)
    }

    pub(super) fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }
}
