//! An input as a source of sound that does not end by itself.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::super::{SampleBlock, SoundError, SoundFormat, Source};
use super::intake::{Drain, Gauges, drain};
use super::keeper::{News, Quit, keep};
use super::stream::{CaptureError, Opened, Plan, Wanted, open, plan};
use super::timeline::Timeline;

/// Without sound for this long, silence goes in, ns: well above any pause of a sound server under
/// load (119 ms seen), and soon enough that a board does not go off by itself.
const PATIENCE_NS: u64 = 150_000_000;

/// Longest sleep between two looks.
const LOOK: Duration = Duration::from_millis(10);

/// News that may wait for the reader.
const NEWS: usize = 16;

/// Instants handed out at once.
const PIECE: usize = 1024;

/// Live sound. Read it on one thread; see the [folder's story](super).
pub struct Capture {
    plan: Plan,
    granted: u32,
    gauges: Arc<Gauges>,
    drain: Option<Drain>,
    news: Receiver<News>,
    timeline: Timeline,
    stop: Arc<AtomicBool>,
    on_news: Box<dyn FnMut(&str) + Send>,
    silence: Box<[f32]>,
    /// Silence still to be handed out, instants.
    owed: u64,
    piece: Box<[f32]>,
    /// What of `piece` is still to be handed out, in samples.
    ready: std::ops::Range<usize>,
    begun: bool,
    quit: Quit,
    keeper: Option<JoinHandle<()>>,
}

/// What was settled with the sound system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settled {
    /// Text of the input.
    pub input: String,
    /// Rate and channels.
    pub format: SoundFormat,
    /// Instants per block, as granted; 0 where the system does not say.
    pub granted: u32,
}

impl Capture {
    /// Opens an input. It is read until `stop` is raised; the first sample heard is the one that
    /// arrives when reading begins. `on_news` hears of losses and returns, on the reading thread.
    ///
    /// # Errors
    /// When there is no such input, it does not open as asked, or no thread can be had.
    pub fn open(
        wanted: &Wanted,
        stop: Arc<AtomicBool>,
        on_news: Box<dyn FnMut(&str) + Send>,
    ) -> Result<Self, CaptureError> {
        let plan = plan(wanted)?;
        let gauges = Gauges::new();
        let Opened { stream, drain, granted } = open(&plan, &gauges)?;
        let (tell, news) = sync_channel(NEWS);
        let quit = Quit::default();
        let keeper = {
            let (plan, gauges, quit) = (plan.clone(), Arc::clone(&gauges), Arc::clone(&quit));
            let keeper = move || keep(&plan, stream, &gauges, &tell, &quit);
            thread::Builder::new().name("sound keeper".into()).spawn(keeper)
        };
        let keeper = keeper.map_err(|error| CaptureError::Open {
            input: plan.input.clone(),
            why: error.to_string(),
        })?;
        let room = PIECE * usize::from(plan.format.channels);
        Ok(Self {
            granted,
            timeline: Timeline::new(plan.format.rate_hz, gauges.now_ns(), PATIENCE_NS),
            gauges,
            drain: Some(drain),
            news,
            stop,
            on_news,
            silence: vec![0.0; room].into(),
            owed: 0,
            piece: vec![0.0; room].into(),
            ready: 0..0,
            begun: false,
            quit,
            keeper: Some(keeper),
            plan,
        })
    }

    /// What was settled with the sound system.
    pub fn settled(&self) -> Settled {
        Settled { input: self.plan.input.clone(), format: self.plan.format, granted: self.granted }
    }

    /// Counters that may be read while this is being read elsewhere.
    pub fn gauges(&self) -> Arc<Gauges> {
        Arc::clone(&self.gauges)
    }

    fn begin(&mut self) {
        self.begun = true;
        // The first reader is the only one.
        let _ = self.gauges.reader.set(thread::current());
        if let Some(ring) = &mut self.drain {
            while drain(ring, &mut self.piece, 1, &self.gauges) > 0 {}
        }
        self.gauges.backlog.store(0, Ordering::Relaxed);
        self.timeline = Timeline::new(self.plan.format.rate_hz, self.gauges.now_ns(), PATIENCE_NS);
        self.timeline.opened(u64::from(self.granted));
    }

    /// Takes in what the keeper has to say.
    fn hear_news(&mut self) {
        while let Ok(news) = self.news.try_recv() {
            match news {
                News::Opened(drain, granted) => {
                    self.drain = Some(drain);
                    self.granted = granted;
                    self.timeline.opened(u64::from(granted));
                    (self.on_news)(&format!("{} is back", self.plan.input));
                }
                News::Lost(why) => {
                    let input = &self.plan.input;
                    (self.on_news)(&format!("{input}: {why}; silence until it is back"));
                }
            }
        }
    }

    /// Fills the piece from the ring, if there is anything, and settles what it stands for.
    fn fill(&mut self) {
        let Some(ring) = &mut self.drain else { return };
        let channels = usize::from(self.plan.format.channels);
        let count = drain(ring, &mut self.piece, channels, &self.gauges);
        let now_ns = self.gauges.now_ns();
        self.timeline.look(now_ns);
        self.gauges.slept_ns.store(self.timeline.slept_ns(), Ordering::Relaxed);
        if count == 0 {
            let due = self.timeline.due(now_ns);
            self.owe(due);
            return;
        }
        let arrival = self.timeline.arrived(now_ns, (count / channels) as u64);
        self.owe(arrival.silence);
        self.gauges.alive.store(1, Ordering::Relaxed);
        self.gauges.late.fetch_add(arrival.late, Ordering::Relaxed);
        let late = usize::try_from(arrival.late).unwrap_or(usize::MAX).saturating_mul(channels);
        self.ready = late.min(count)..count;
    }

    fn owe(&mut self, instants: u64) {
        self.owed += instants;
        self.gauges.silence.fetch_add(instants, Ordering::Relaxed);
    }
}

impl Source for Capture {
    fn format(&self) -> SoundFormat {
        self.plan.format
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let channels = self.plan.format.channels;
        if !self.begun {
            self.begin();
        }
        loop {
            if self.stop.load(Ordering::Relaxed) {
                return Ok(None);
            }
            if self.owed > 0 {
                let now = usize::try_from(self.owed).unwrap_or(PIECE).min(PIECE);
                self.owed -= now as u64;
                let silence = self.silence.get(..now * usize::from(channels)).unwrap_or_default();
                return Ok(SampleBlock::new(silence, channels));
            }
            if !self.ready.is_empty() {
                let ready = std::mem::replace(&mut self.ready, 0..0);
                let piece = self.piece.get(ready).unwrap_or_default();
                return Ok(SampleBlock::new(piece, channels));
            }
            self.hear_news();
            self.fill();
            if self.owed == 0 && self.ready.is_empty() {
                thread::park_timeout(LOOK);
            }
        }
    }
}

impl Drop for Capture {
    fn drop(&mut self) {
        self.quit.store(true, Ordering::Relaxed);
        if let Some(keeper) = self.keeper.take() {
            // A keeper that panicked has nothing left to close.
            let _ = keeper.join();
        }
    }
}
