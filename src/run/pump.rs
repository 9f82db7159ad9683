//! The loop: blocks from a source, frames to a sink, all-off on every way out.

use std::ops::ControlFlow;

use thiserror::Error;

use crate::audio::{SampleBlock, SoundError, Source};
use crate::engine::{Engine, Listener, Step};
use crate::frame::Hands;
use crate::run::meter::Metering;
use crate::sink::{Sink, SinkError};

/// What the hook wants next.
pub type Flow = ControlFlow<()>;

/// Stands beside the loop: the one place where modes differ, besides source and sink. What is not
/// of interest may be left out.
pub trait Beside {
    /// A block, before the engine hears it.
    fn heard(&mut self, block: SampleBlock<'_>) {
        let _ = block;
    }

    /// Asked before each step: what hands have set for frame `frame`, which comes next.
    fn hands(&mut self, frame: u32) -> Hands {
        let _ = frame;
        Hands::FREE
    }

    /// Asked before each step: a mapping to take in for the one at work, which goes back into its
    /// place. Where it does not fit it is left as it was.
    fn edit(&mut self) -> Option<&mut Listener> {
        None
    }

    /// After each step, with the frame if it made one.
    fn stepped(&mut self, step: Option<&Step<'_>>) {
        let _ = step;
    }

    /// Once per block, with the instants heard so far; a break ends the loop.
    fn go_on(&mut self, instants: u64) -> Flow {
        let _ = instants;
        Flow::Continue(())
    }
}

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
    /// Hands as the sink knows them.
    told: Hands,
}

impl UntilOff<'_> {
    fn off(&mut self) -> Result<(), SinkError> {
        self.sent = true;
        self.sink.off(self.next)
    }

    fn deliver(
        &mut self,
        step: &Step<'_>,
        hands: Hands,
        metering: &mut Metering,
    ) -> Result<(), SinkError> {
        if hands != self.told {
            self.told = hands;
            self.sink.hands(step.number, hands)?;
        }
        self.sink.duty(step.number, step.duties)?;
        self.next = step.number.saturating_add(1);
        metering.add(step);
        Ok(())
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

/// Runs `source` through `engine` into `sink` until the sound ends or `beside` breaks.
///
/// # Errors
/// When the source or the sink fails. OFF is sent in every case.
pub fn pump(
    source: &mut dyn Source,
    engine: &mut Engine,
    sink: &mut dyn Sink,
    metering: &mut Metering,
    beside: &mut dyn Beside,
) -> Result<Pumped, PumpError> {
    let mut out = UntilOff { sink, next: engine.next_frame(), sent: false, told: engine.hands() };
    let mut end = Pumped::Whole;
    while let Some(block) = source.next_block()? {
        beside.heard(block);
        feed(block, engine, &mut out, metering, beside)?;
        if beside.go_on(engine.instants()).is_break() {
            end = Pumped::Stopped;
            break;
        }
    }
    if end == Pumped::Whole {
        let hands = reach(engine, beside);
        let step = engine.finish();
        beside.stepped(step.as_ref());
        if let Some(step) = step {
            out.deliver(&step, hands, metering)?;
        }
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
    beside: &mut dyn Beside,
) -> Result<(), SinkError> {
    let mut rest = block;
    loop {
        let hands = reach(engine, beside);
        let (left, step) = engine.step(rest);
        beside.stepped(step.as_ref());
        let Some(step) = step else { return Ok(()) };
        out.deliver(&step, hands, metering)?;
        rest = left;
        if let Some(meter) = metering.due(engine.budget()) {
            out.sink.meter(meter)?;
        }
    }
}

/// Lets the hands reach the frame that comes next.
fn reach(engine: &mut Engine, beside: &mut dyn Beside) -> Hands {
    let hands = beside.hands(engine.next_frame());
    engine.set_hands(hands);
    if let Some(listener) = beside.edit() {
        // Whoever made it checked that it fits; one that does not changes nothing.
        let _ = engine.swap(listener);
    }
    hands
}
