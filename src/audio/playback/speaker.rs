//! Keeps an output open: watches it, drops it when it is gone, opens it anew.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::sync_channel;
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};

use super::output::{Output, OutputError, OutputPlan, OutputWanted, plan_output};
use crate::audio::patience::{LOOK, back_off, wait};

/// Makes every block; told how much later it is heard, s. On the sound system's thread: it must not
/// wait and not take memory.
pub type Filler = Box<dyn FnMut(&mut [f32], f64) -> usize + Send>;

/// Told what happens to the output, in a sentence.
pub type Said = Box<dyn FnMut(&str) + Send>;

/// An output that is opened again when it was lost, until it is dropped.
#[derive(Debug)]
pub struct Speaker {
    pulse: Arc<Pulse>,
    keeper: Option<JoinHandle<()>>,
}

/// What is known of it, for anyone to read.
#[derive(Debug, Default)]
pub struct Pulse {
    alive: AtomicBool,
    losses: AtomicU64,
    quit: AtomicBool,
}

impl Pulse {
    /// Whether it is open.
    pub fn is_alive(&self) -> bool {
        self.alive.load(Ordering::Relaxed)
    }

    /// How often it was lost.
    pub fn losses(&self) -> u64 {
        self.losses.load(Ordering::Relaxed)
    }
}

impl Speaker {
    /// Opens and starts an output that was asked for as `wanted` and settled as `plan`.
    ///
    /// # Errors
    /// When it does not open now. Later losses are said.
    pub fn open(
        wanted: OutputWanted,
        plan: OutputPlan,
        fill: Filler,
        said: Said,
    ) -> Result<Self, OutputError> {
        let pulse = Arc::new(Pulse::default());
        let (first, opened) = sync_channel(1);
        let name = plan.output.clone();
        let keeper = Keeper { wanted, plan, fill: Arc::new(Mutex::new(fill)), said };
        let theirs = Arc::clone(&pulse);
        let spawned = thread::Builder::new().name("sound out".into()).spawn(move || {
            // Streams of some systems stay on the thread that opened them.
            match keeper.open_by(&keeper.plan) {
                Ok(output) => {
                    theirs.alive.store(true, Ordering::Relaxed);
                    let _ = first.send(Ok(()));
                    keeper.keep(output, &theirs);
                }
                Err(error) => {
                    let _ = first.send(Err(error));
                }
            }
        });
        let failed = |why: String| OutputError::Open { output: name.clone(), why };
        let keeper = spawned.map_err(|error| failed(error.to_string()))?;
        opened.recv().unwrap_or_else(|_| Err(failed("its thread broke down".into())))?;
        Ok(Self { pulse, keeper: Some(keeper) })
    }

    /// What is known of it.
    pub fn pulse(&self) -> Arc<Pulse> {
        Arc::clone(&self.pulse)
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        self.pulse.quit.store(true, Ordering::Relaxed);
        if let Some(keeper) = self.keeper.take() {
            // One that broke down has nothing left to say.
            let _ = keeper.join();
        }
    }
}

/// What the thread has.
struct Keeper {
    wanted: OutputWanted,
    plan: OutputPlan,
    /// One stream at a time calls it, so the lock is free but for the moment of changing over.
    fill: Arc<Mutex<Filler>>,
    said: Said,
}

impl Keeper {
    fn open_by(&self, plan: &OutputPlan) -> Result<Output, OutputError> {
        let fill = Arc::clone(&self.fill);
        Output::open(plan, move |block, later_s| match fill.try_lock() {
            Ok(mut fill) => fill(block, later_s),
            Err(_) => {
                block.fill(0.0);
                0
            }
        })
    }

    /// Whatever it is after a loss, it must have the rate that the sound is made for.
    fn again(&self) -> Result<Output, String> {
        let mut wanted = self.wanted.clone();
        wanted.rate_hz = self.plan.rate_hz;
        let plan = plan_output(&wanted).map_err(|error| error.to_string())?;
        if plan.rate_hz != self.plan.rate_hz {
            return Err(format!("it came back at {} Hz, not {}", plan.rate_hz, self.plan.rate_hz));
        }
        self.open_by(&plan).map_err(|error| error.to_string())
    }

    fn keep(mut self, first: Output, pulse: &Pulse) {
        let mut output = Some(first);
        let (mut failed, mut told) = (0, String::new());
        while !pulse.quit.load(Ordering::Relaxed) {
            match &output {
                Some(open) if open.is_lost() => {
                    pulse.alive.store(false, Ordering::Relaxed);
                    pulse.losses.fetch_add(1, Ordering::Relaxed);
                    // Two streams of one output may not be open side by side.
                    output = None;
                    failed = 0;
                    (self.said)(
                        "the sound's output is gone: the show goes on without it until it is back",
                    );
                }
                Some(_) => wait(LOOK, &pulse.quit),
                None => {
                    wait(back_off(failed), &pulse.quit);
                    failed += 1;
                    match self.again() {
                        Ok(fresh) => {
                            output = Some(fresh);
                            told.clear();
                            pulse.alive.store(true, Ordering::Relaxed);
                            (self.said)("the sound's output is back");
                        }
                        // Each new reason once, not every attempt.
                        Err(why) if why != told => {
                            (self.said)(&format!("the sound's output: {why}"));
                            told = why;
                        }
                        Err(_) => {}
                    }
                }
            }
        }
    }
}
