//! What stands beside the loop while tuning. Nothing here waits or takes memory: looks leave through
//! a ring of boxes that come back empty, sound through a ring that drops, edits come through a ring.

use std::sync::Arc;
use std::time::Instant;

use ringbuf::traits::{Consumer, Observer, Producer};
use ringbuf::{HeapCons, HeapProd};

use super::glance::{Cuts, Glance};
use crate::audio::SampleBlock;
use crate::engine::{Listener, Step};
use crate::frame::Hands;
use crate::run::live::Controls;
use crate::run::pump::Beside;

/// A mapping on its way into the engine, and its number.
pub(super) struct Edit {
    pub(super) number: u32,
    pub(super) listener: Box<Listener>,
}

/// The engine's ends of all rings.
pub(super) struct Rings {
    pub(super) full: HeapProd<Box<Glance>>,
    pub(super) empty: HeapCons<Box<Glance>>,
    pub(super) edits: HeapCons<Edit>,
    pub(super) spent: HeapProd<Edit>,
    pub(super) sound: HeapProd<f32>,
}

/// Stands beside the loop.
pub(super) struct Watcher<'a> {
    controls: Arc<Controls>,
    rings: Rings,
    /// The mapping that was taken out, until it is handed back.
    taken_out: Option<Edit>,
    edit: u32,
    /// Frames from look to look.
    every: u32,
    frames: u32,
    steps: f32,
    cuts: Cuts,
    heard_instants: u64,
    missed: u32,
    began: Instant,
    worked_us: f32,
    /// Told the temperatures after each frame; false ends the run.
    heat: &'a mut dyn FnMut(&[f64]) -> bool,
    heat_lost: bool,
}

impl<'a> Watcher<'a> {
    pub(super) fn new(
        controls: Arc<Controls>,
        rings: Rings,
        every: u32,
        steps: f32,
        coils: usize,
        heat: &'a mut dyn FnMut(&[f64]) -> bool,
    ) -> Self {
        Self {
            controls,
            rings,
            taken_out: None,
            edit: 0,
            every: every.max(1),
            frames: 0,
            steps,
            cuts: Cuts::new(coils),
            heard_instants: 0,
            missed: 0,
            began: Instant::now(),
            worked_us: 0.0,
            heat,
            heat_lost: false,
        }
    }

    /// True when the run ended because the heat could not be kept.
    pub(super) fn heat_lost(&self) -> bool {
        self.heat_lost
    }

    fn look(&mut self, step: &Step<'_>) {
        let Some(mut glance) = self.rings.empty.try_pop() else {
            // Nobody took the ones before in time.
            self.missed = self.missed.saturating_add(1);
            return;
        };
        glance.look(step, self.steps, &mut self.cuts, f64::from(self.frames));
        glance.edit = self.edit;
        glance.heard_instants = self.heard_instants;
        glance.worked_us = std::mem::take(&mut self.worked_us);
        glance.missed = self.missed;
        self.frames = 0;
        // As many boxes as the ring has room.
        let _ = self.rings.full.try_push(glance);
    }
}

impl Beside for Watcher<'_> {
    fn heard(&mut self, block: SampleBlock<'_>) {
        self.heard_instants += block.instants() as u64;
        // Whole blocks only; what does not fit is missed by the spectrum.
        if self.rings.sound.vacant_len() >= block.interleaved().len() {
            self.rings.sound.push_slice(block.interleaved());
        }
    }

    fn hands(&mut self, _frame: u32) -> Hands {
        self.began = Instant::now();
        self.controls.hands()
    }

    fn edit(&mut self) -> Option<&mut Listener> {
        if let Some(spent) = self.taken_out.take()
            && let Err(spent) = self.rings.spent.try_push(spent)
        {
            // Dropping it would take time: it waits for room.
            self.taken_out = Some(spent);
            return None;
        }
        let edit = self.rings.edits.try_pop()?;
        self.edit = edit.number;
        self.taken_out = Some(edit);
        self.taken_out.as_mut().map(|edit| &mut *edit.listener)
    }

    fn stepped(&mut self, step: Option<&Step<'_>>) {
        let Some(step) = step else { return };
        self.worked_us = self.worked_us.max(self.began.elapsed().as_secs_f32() * 1e6);
        self.frames += 1;
        if self.frames >= self.every {
            self.look(step);
        }
        if !(self.heat)(step.load.node_c) && !self.heat_lost {
            self.heat_lost = true;
            self.controls.stop();
        }
    }
}
