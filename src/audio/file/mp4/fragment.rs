//! Packets of a fragmented file: each `moof` says where those in the `mdat` after it lie
//! (ISO/IEC 14496-12, 8.8).

use std::collections::VecDeque;
use std::fs::File;
use std::io;

use super::super::fields::Fields;
use super::boxes::{Outer, child, children};
use super::table::Spot;

/// No fragment's index is believed to be longer, bytes.
const MOST_INDEX: u64 = 16 << 20;

/// The fragments of one track.
#[derive(Debug)]
pub(super) struct Fragments {
    track: u32,
    /// What holds where a fragment says nothing: how long a packet lasts, its bytes.
    usual: (u32, u32),
    /// Where the next outermost box starts.
    at: u64,
    length: u64,
    /// Packets found and not handed out.
    pub(super) waiting: VecDeque<Spot>,
    /// True once a box was met that the file is too short for.
    pub(super) cut: bool,
}

impl Fragments {
    /// Those from byte `at` of a file of `length` bytes. `extends`: the body of `mvex`.
    pub(super) fn new(track: u32, extends: &[u8], at: u64, length: u64) -> Self {
        let usual = children(extends).filter(|(name, _)| name == b"trex").find_map(|(_, body)| {
            let mut fields = Fields(body);
            fields.skip(4)?;
            let id = fields.u32()?;
            fields.skip(4)?;
            let lasts = fields.u32()?;
            (id == track).then_some((lasts, fields.u32()?))
        });
        let usual = usual.unwrap_or((0, 0));
        Self { track, usual, at, length, waiting: VecDeque::new(), cut: false }
    }

    pub(super) fn step(&mut self, file: &mut File) -> io::Result<Option<Spot>> {
        while self.waiting.is_empty() {
            let Some(outer) = Outer::read(file, self.at, self.length)? else { return Ok(None) };
            self.cut |= outer.end > self.length;
            self.at = outer.end;
            if outer.name == *b"moof" {
                let bytes = outer.bytes(file, MOST_INDEX)?;
                self.read(&bytes, outer.start);
            }
        }
        Ok(self.waiting.pop_front())
    }

    fn read(&mut self, bytes: &[u8], moof_at: u64) {
        for (_, body) in children(bytes).filter(|(name, _)| name == b"traf") {
            // What is cut in the middle gives the packets before the cut.
            let _ = self.read_track(body, moof_at);
        }
    }

    fn read_track(&mut self, body: &[u8], moof_at: u64) -> Option<()> {
        let mut head = Fields(child(body, b"tfhd")?);
        let flags = head.u32()?;
        if head.u32()? != self.track {
            return None;
        }
        let base = if flags & 0x1 != 0 { head.u64()? } else { moof_at };
        if flags & 0x2 != 0 {
            head.skip(4)?;
        }
        let mut usual = self.usual;
        if flags & 0x8 != 0 {
            usual.0 = head.u32()?;
        }
        if flags & 0x10 != 0 {
            usual.1 = head.u32()?;
        }
        let mut at = base;
        for (_, run) in children(body).filter(|(name, _)| name == b"trun") {
            self.read_run(run, base, &mut at, usual)?;
        }
        Some(())
    }

    fn read_run(&mut self, body: &[u8], base: u64, at: &mut u64, usual: (u32, u32)) -> Option<()> {
        let mut fields = Fields(body);
        let flags = fields.u32()?;
        let count = fields.u32()?;
        if flags & 0x1 != 0 {
            let offset = i64::from(fields.u32()?.cast_signed());
            *at = base.saturating_add_signed(offset);
        }
        if flags & 0x4 != 0 {
            fields.skip(4)?;
        }
        for _ in 0..count {
            let lasts = if flags & 0x100 != 0 { fields.u32()? } else { usual.0 };
            let size = if flags & 0x200 != 0 { fields.u32()? } else { usual.1 };
            for flag in [0x400, 0x800] {
                if flags & flag != 0 {
                    fields.skip(4)?;
                }
            }
            // Packets of no bytes, and those behind the end of the file, could be countless.
            if size == 0 || *at >= self.length {
                self.cut |= size > 0;
                return None;
            }
            self.waiting.push_back(Spot { at: *at, size, lasts });
            *at = at.saturating_add(u64::from(size));
        }
        Some(())
    }
}
