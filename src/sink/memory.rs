//! Frames kept in memory, for whoever looks at them right away.
//!
//! For the bytes rather than the values, use a [`Writer`](crate::frame::record::Writer) over a
//! `Vec<u8>`.

use super::{Sink, SinkError};
use crate::budget::Duty;
use crate::frame::{Meter, RecordedCode};

/// Everything that was sent. Grows with the song.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Memory {
    /// Number and codes of every frame; codes in display order.
    pub frames: Vec<(u32, Vec<RecordedCode>)>,
    /// Every meter.
    pub meters: Vec<Meter>,
    /// Every all-off.
    pub offs: Vec<u32>,
}

impl Memory {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }
}

impl Sink for Memory {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        let codes = duties.iter().map(|duty| RecordedCode(duty.code())).collect();
        self.frames.push((number, codes));
        Ok(())
    }

    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        self.meters.push(meter.clone());
        Ok(())
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.offs.push(number);
        Ok(())
    }
}
