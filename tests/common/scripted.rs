//! Sound by script, and what stands around a show without devices.

use std::sync::mpsc::{Receiver, sync_channel};

use coilscore::analysis::Arith;
use coilscore::audio::{SampleBlock, SoundError, SoundFormat, Source};
use coilscore::budget::{Duty, Start};
use coilscore::preset::{Display, Mapping};
use coilscore::run::RenderJob;
use coilscore::run::live::{Noticed, Snapshot, Watch, notices};
use coilscore::sink::{Sink, SinkError};
use coilscore::units::Rate;

pub(crate) type Fill<'a> = Box<dyn FnMut(&mut [f32]) + 'a>;

/// Blocks of a length, what happens before some of them, and how many there are.
pub(crate) struct Script<'a> {
    pub(crate) format: SoundFormat,
    pub(crate) block: Vec<f32>,
    pub(crate) fill: Fill<'a>,
    pub(crate) before: Box<dyn FnMut(u64) + 'a>,
    pub(crate) next: u64,
    pub(crate) blocks: u64,
}

impl Source for Script<'_> {
    fn format(&self) -> SoundFormat {
        self.format
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        if self.next == self.blocks {
            return Ok(None);
        }
        (self.before)(self.next);
        self.next += 1;
        (self.fill)(&mut self.block);
        Ok(SampleBlock::new(&self.block, self.format.channels))
    }
}

pub(crate) fn job<'a>(mapping: &'a Mapping, display: &'a Display, start: Start) -> RenderJob<'a> {
    let rate = Rate::new(200, 1).unwrap();
    RenderJob { mapping, display, rate, start, arith: Arith::Portable }
}

pub(crate) fn watch() -> (Watch, Receiver<Snapshot>, Noticed) {
    let ((snapshots, seen), (notices, noticed)) = (sync_channel(4), notices());
    (Watch { snapshots, notices }, seen, noticed)
}

/// Counts frames and nothing else.
#[derive(Default)]
pub(crate) struct Count(pub(crate) u64, pub(crate) u32);

impl Sink for Count {
    fn duty(&mut self, number: u32, _: &[Duty]) -> Result<(), SinkError> {
        assert_eq!(u64::from(number), self.0, "no frame is left out");
        self.0 += 1;
        Ok(())
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.1 = number;
        Ok(())
    }
}
