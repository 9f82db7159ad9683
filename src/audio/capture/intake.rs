//! What crosses between the sound system's thread and ours: a ring, and counters that need no lock.

use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::thread::Thread;
use std::time::Instant;

use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

/// Samples converted at a time, on the callback's stack.
const CHUNK: usize = 1024;

/// Counters of one input over all its streams. The callbacks write them, anyone may read.
#[derive(Debug)]
pub struct Gauges {
    began: Instant,
    /// The thread that reads, once it does: each block wakes it.
    pub(super) reader: OnceLock<Thread>,
    /// When the last block came, ns on this clock.
    pub(super) last_ns: AtomicU64,
    /// Blocks of the present stream.
    pub(super) blocks: AtomicU64,
    /// Instants that did not fit the ring.
    pub(super) overrun: AtomicU64,
    /// From the first sample's capture to the callback, ns, as the sound system says.
    pub(super) age_ns: AtomicU64,
    /// Instants in the block that came last.
    pub(super) block: AtomicU64,
    /// Errors since the start; a dying sound server reports millions.
    pub(super) errors: AtomicU64,
    /// The last error that ends a stream, by its place in [`super::stream::GRAVE`], from 1; 0: none.
    pub(super) grave: AtomicU8,
    /// Instants of silence that went in for lost sound.
    pub(super) silence: AtomicU64,
    /// Instants dropped because they came after silence had taken their place.
    pub(super) late: AtomicU64,
    /// Most instants that lay in the ring at once when it was read, since last asked.
    pub(super) backlog: AtomicU64,
    /// How often the stream was lost.
    pub(super) losses: AtomicU64,
    /// 1 while sound comes.
    pub(super) alive: AtomicU8,
    /// Time that the program did not run, ns.
    pub(super) slept_ns: AtomicU64,
}

impl Gauges {
    pub(super) fn new() -> Arc<Self> {
        let zero = || AtomicU64::new(0);
        Arc::new(Self {
            began: Instant::now(),
            reader: OnceLock::new(),
            last_ns: zero(),
            blocks: zero(),
            overrun: zero(),
            age_ns: zero(),
            block: zero(),
            errors: zero(),
            grave: AtomicU8::new(0),
            silence: zero(),
            late: zero(),
            backlog: zero(),
            losses: zero(),
            alive: AtomicU8::new(0),
            slept_ns: zero(),
        })
    }

    /// Nanoseconds since the start, on a clock that never goes back.
    pub fn now_ns(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_nanos()).unwrap_or(u64::MAX)
    }

    /// Wakes the thread that reads.
    pub(super) fn wake(&self) {
        if let Some(reader) = self.reader.get() {
            reader.unpark();
        }
    }

    /// What they say now. The backlog starts anew.
    pub fn read(&self) -> Gauged {
        let get = |gauge: &AtomicU64| gauge.load(Ordering::Relaxed);
        Gauged {
            alive: self.alive.load(Ordering::Relaxed) != 0,
            block: get(&self.block),
            age_ns: get(&self.age_ns),
            backlog: self.backlog.swap(0, Ordering::Relaxed),
            overrun: get(&self.overrun),
            silence: get(&self.silence),
            late: get(&self.late),
            losses: get(&self.losses),
            errors: get(&self.errors),
            slept_ns: get(&self.slept_ns),
        }
    }
}

/// [`Gauges`] at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Gauged {
    /// True while sound comes.
    pub alive: bool,
    /// Instants in the block that came last.
    pub block: u64,
    /// From a block's first sample to its arrival, ns.
    pub age_ns: u64,
    /// Most instants waiting at once since the last reading.
    pub backlog: u64,
    /// Instants that did not fit the ring.
    pub overrun: u64,
    /// Instants of silence put in for lost sound.
    pub silence: u64,
    /// Instants that came after silence had taken their place.
    pub late: u64,
    /// How often the device was lost.
    pub losses: u64,
    /// Errors the sound system reported.
    pub errors: u64,
    /// Time that this program did not run, ns.
    pub slept_ns: u64,
}

/// The callback's end. Takes no memory, no lock and no time to speak of.
pub(super) struct Tap {
    ring: HeapProd<f32>,
    channels: usize,
    gauges: Arc<Gauges>,
}

/// The reader's end.
pub(super) type Drain = HeapCons<f32>;

/// A ring for `instants`.
pub(super) fn ring(instants: usize, channels: u16, gauges: &Arc<Gauges>) -> (Tap, Drain) {
    let channels = usize::from(channels.max(1));
    let (mut ring, mut drain) = HeapRb::new(instants * channels).split();
    // Touched once, so that the callback never waits for the system to hand out a page.
    ring.push_iter(std::iter::repeat_n(0.0, instants * channels));
    drain.clear();
    (Tap { ring, channels, gauges: Arc::clone(gauges) }, drain)
}

impl Tap {
    /// Takes a block of any sample type. Whole instants only: what does not fit is counted.
    pub(super) fn take<T: Copy>(&mut self, block: &[T], age_ns: u64, to_f32: impl Fn(T) -> f32) {
        let channels = self.channels;
        let (came, room) = (block.len() / channels, self.ring.vacant_len() / channels);
        let fits = came.min(room);
        let mut converted = [0.0_f32; CHUNK];
        let whole = CHUNK / channels * channels;
        for part in block.get(..fits * channels).unwrap_or_default().chunks(whole) {
            for (to, &from) in converted.iter_mut().zip(part) {
                let sample = to_f32(from);
                *to = if sample.is_finite() { sample } else { 0.0 };
            }
            self.ring.push_slice(converted.get(..part.len()).unwrap_or_default());
        }
        let gauges = &self.gauges;
        let now_ns = gauges.now_ns();
        gauges.overrun.fetch_add((came - fits) as u64, Ordering::Relaxed);
        gauges.block.store(came as u64, Ordering::Relaxed);
        gauges.age_ns.store(age_ns, Ordering::Relaxed);
        gauges.last_ns.store(now_ns, Ordering::Relaxed);
        gauges.blocks.fetch_add(1, Ordering::Release);
        gauges.wake();
    }
}

/// Moves what is there, up to the length of `out`, and says how many samples that were.
pub(super) fn drain(from: &mut Drain, out: &mut [f32], channels: usize, gauges: &Gauges) -> usize {
    let waiting = (from.occupied_len() / channels.max(1)) as u64;
    gauges.backlog.fetch_max(waiting, Ordering::Relaxed);
    from.pop_slice(out)
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, clippy::float_cmp, reason = "samples pass unchanged")]
mod tests {
    use super::*;

    #[test]
    fn whole_instants_pass_and_what_does_not_fit_is_counted() {
        let gauges = Gauges::new();
        let (mut tap, mut out) = ring(1000, 3, &gauges);
        let block: Vec<i16> = (0..3 * 800).collect();
        let to_f32 = |sample: i16| f32::from(sample) / 32_768.0;
        tap.take(&block, 7, to_f32);
        assert_eq!(gauges.read(), Gauged { block: 800, age_ns: 7, ..Gauged::default() });
        tap.take(&block, 8, to_f32);
        assert_eq!(gauges.read().overrun, 600);
        let mut heard = vec![0.0; 4000];
        let count = drain(&mut out, &mut heard, 3, &gauges);
        assert_eq!(count, 3000);
        assert_eq!(gauges.read().backlog, 1000);
        let expected: Vec<f32> = block.iter().chain(&block[..600]).map(|&s| to_f32(s)).collect();
        assert_eq!(heard[..count], expected);
        assert_eq!(drain(&mut out, &mut heard, 3, &gauges), 0);
    }

    #[test]
    fn what_is_no_number_becomes_silence() {
        let gauges = Gauges::new();
        let (mut tap, mut out) = ring(10, 1, &gauges);
        tap.take(&[0.5, f32::NAN, f32::INFINITY, -2.0], 0, |sample| sample);
        let mut heard = [9.0; 4];
        assert_eq!(drain(&mut out, &mut heard, 1, &gauges), 4);
        assert_eq!(heard, [0.5, 0.0, 0.0, -2.0]);
    }
}
