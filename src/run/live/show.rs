//! What stands beside the loop of a show.

use std::sync::mpsc::SyncSender;
use std::time::Instant;

use super::tally::{Snapshot, Tally};
use super::{Controls, Notices, Saving};
use crate::audio::SampleBlock;
use crate::audio::fingerprint::Fingerprint;
use crate::engine::{Engine, Step};
use crate::frame::Hands;
use crate::run::pump::Beside;

/// Whom a show tells.
#[derive(Debug, Clone)]
pub struct Watch {
    /// Once a second; dropped when nobody takes them.
    pub snapshots: SyncSender<Snapshot>,
    /// Sentences, when something happens.
    pub notices: Notices,
}

/// Hands, sound kept, times measured.
pub struct Show<'a> {
    controls: &'a Controls,
    watch: Watch,
    saving: Option<Saving>,
    /// Ends the show after so many instants.
    until: u64,
    instants: u64,
    /// Told the temperatures after each frame; false ends the show.
    heat: &'a mut dyn FnMut(&[f64]) -> bool,
    heat_lost: bool,
    tally: Tally,
    digest: Fingerprint,
    began: Instant,
    worked_ns: u64,
    hands: Hands,
}

impl<'a> Show<'a> {
    /// Beside `engine`, until `controls` or `until` instants of sound end it.
    pub fn new(
        engine: &Engine,
        controls: &'a Controls,
        watch: Watch,
        saving: Option<Saving>,
        until: Option<u64>,
        heat: &'a mut dyn FnMut(&[f64]) -> bool,
    ) -> Self {
        let (budget, rate) = (engine.budget(), engine.rate());
        Self {
            controls,
            watch,
            saving,
            until: until.unwrap_or(u64::MAX),
            instants: 0,
            heat,
            heat_lost: false,
            tally: Tally::new(rate, budget.bound_c(), budget.duties().len()),
            digest: Fingerprint::new(),
            began: Instant::now(),
            worked_ns: 0,
            hands: Hands::FREE,
        }
    }

    /// Digest of the sound heard, hexadecimal.
    pub fn digest_hex(&self) -> String {
        self.digest.hex()
    }

    /// True when the show ended because the heat could not be kept.
    pub fn heat_lost(&self) -> bool {
        self.heat_lost
    }

    /// Gives the saved sound back, to be ended when all is off.
    pub fn release(self) -> Option<Saving> {
        self.saving
    }
}

impl Beside for Show<'_> {
    fn heard(&mut self, block: SampleBlock<'_>) {
        self.digest.update(block);
        self.tally.heard(block);
        if let Some(sentence) = self.saving.as_mut().and_then(|saving| saving.put(block)) {
            self.watch.notices.say(format!("{sentence}; the show goes on"));
        }
        self.instants += block.instants() as u64;
        // The source ends the show, so that the last frame is made as of any sound that ends.
        if self.instants >= self.until {
            self.controls.stop();
        }
    }

    fn hands(&mut self, _frame: u32) -> Hands {
        self.hands = self.controls.hands();
        self.began = Instant::now();
        self.hands
    }

    fn stepped(&mut self, step: Option<&Step<'_>>) {
        let took = u64::try_from(self.began.elapsed().as_nanos()).unwrap_or(u64::MAX);
        self.worked_ns = self.worked_ns.saturating_add(took);
        let Some(step) = step else { return };
        let worked_ns = std::mem::take(&mut self.worked_ns);
        if let Some(snapshot) = self.tally.frame(step, worked_ns, self.hands) {
            // Who does not take them in time misses some.
            let _ = self.watch.snapshots.try_send(snapshot);
        }
        if !(self.heat)(step.load.node_c) && !self.heat_lost {
            self.heat_lost = true;
            self.controls.stop();
        }
    }
}
