//! The loop: blocks from a source, frames to a sink, all-off on every way out.

use std::ops::ControlFlow;

use thiserror::Error;

use crate::audio::{SampleBlock, SoundError, Source};
use crate::engine::{Engine, Step};
use crate::run::meter::Metering;
use crate::sink::{Sink, SinkError};

/// What the hook wants next.
pub type Flow = ControlFlow<()>;

/// Why the loop ended early. What was written before stays written, and OFF has been sent.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PumpError {
    /// The sound failed.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// A frame could not be delivered.
    #[error(transparent)]
    Sink(#[from] SinkError),
}

/// How the loop ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pumped {
    /// The sound came to its end.
    Whole,
    /// The hook stopped it.
    Stopped,
}

/// Sends OFF when it is dropped, whatever the reason: end, error, stop or panic.
struct UntilOff<'a> {
    sink: &'a mut dyn Sink,
    next: u32,
    sent: bool,
}

impl UntilOff<'_> {
    fn off(&mut self) -> Result<(), SinkError> {
        self.sent = true;
        self.sink.off(self.next)
    }
}

impl Drop for UntilOff<'_> {
    fn drop(&mut self) {
        if !self.sent {
            // Whoever dropped us already has an error to report; a second one adds nothing.
            let _ = self.off();
        }
    }
}

/// Runs `source` through `engine` into `sink` until the sound ends or `hook` breaks.
///
/// `on_block` sees every block before the engine does; `hook` is asked once per block, with the
/// number of instants heard so far.
///
/// # Errors
/// When the source or the sink fails. OFF is sent in every case.
pub fn pump(
    source: &mut dyn Source,
    engine: &mut Engine,
    sink: &mut dyn Sink,
    metering: &mut Metering,
    on_block: &mut dyn FnMut(SampleBlock<'_>),
    hook: &mut dyn FnMut(u64) -> Flow,
) -> Result<Pumped, PumpError> {
    let mut out = UntilOff { sink, next: engine.next_frame(), sent: false };
    let mut end = Pumped::Whole;
    while let Some(block) = source.next_block()? {
        on_block(block);
        feed(block, engine, &mut out, metering)?;
        if hook(engine.instants()).is_break() {
            end = Pumped::Stopped;
            break;
        }
    }
    if let (Pumped::Whole, Some(step)) = (end, engine.finish()) {
        deliver(&step, &mut out, metering)?;
    }
    engine.settle();
    if let Some(meter) = metering.rest(engine.budget()) {
        out.sink.meter(meter)?;
    }
    out.off()?;
    Ok(end)
}

fn feed(
    block: SampleBlock<'_>,
    engine: &mut Engine,
    out: &mut UntilOff<'_>,
    metering: &mut Metering,
) -> Result<(), SinkError> {
    let mut rest = block;
    loop {
        let (left, step) = engine.step(rest);
        let Some(step) = step else { return Ok(()) };
        deliver(&step, out, metering)?;
        rest = left;
        if let Some(meter) = metering.due(engine.budget()) {
            out.sink.meter(meter)?;
        }
    }
}

fn deliver(
    step: &Step<'_>,
    out: &mut UntilOff<'_>,
    metering: &mut Metering,
) -> Result<(), SinkError> {
    out.sink.duty(step.number, step.duties)?;
    out.next = step.number.saturating_add(1);
    metering.add(step);
    Ok(())
}
