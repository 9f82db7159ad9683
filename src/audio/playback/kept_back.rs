//! A ring of sound on its way out, kept as full as the delay needs.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

use super::drift::Drift;
use super::stretch::{Stretch, StretchError};
use crate::audio::{SampleBlock, SoundFormat};

/// Further than this above its target, s, the ring is emptied down to it at once: a stalled system
/// has delivered late, or played late. At the most speed that nobody hears, less takes half a minute.
const TOO_FULL_S: f64 = 0.06;

/// Sound the ring has room for beyond its target, s.
const ROOM_S: f64 = 1.0;

/// What became of the sound, for anyone to read.
#[derive(Debug, Default)]
pub struct Fill {
    /// Instants that found no room.
    pub lost: AtomicU64,
    /// How often there was nothing to play.
    pub gaps: AtomicU64,
    /// How often too much had come.
    pub leaps: AtomicU64,
    /// How long the sound is kept in the ring, microseconds, when last asked.
    pub held_us: AtomicU64,
    /// Speed less 1, in parts per billion, as a signed number.
    pub speed_ppb: AtomicU64,
}

/// [`Fill`] at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// Instants that found no room.
    pub lost: u64,
    /// How often there was nothing to play.
    pub gaps: u64,
    /// How often too much had come.
    pub leaps: u64,
    /// Time in the ring, s.
    pub held_s: f64,
    /// How much faster than its own the sound is played, ppm.
    pub speed_ppm: f64,
}

impl Fill {
    /// What it says now.
    pub fn read(&self) -> Kept {
        let get = |value: &AtomicU64| value.load(Ordering::Relaxed);
        Kept {
            lost: get(&self.lost),
            gaps: get(&self.gaps),
            leaps: get(&self.leaps),
            held_s: get(&self.held_us) as f64 * 1e-6,
            speed_ppm: get(&self.speed_ppb).cast_signed() as f64 * 1e-3,
        }
    }
}

/// Where the sound goes in. Takes no lock and no memory.
pub struct Feed {
    ring: HeapProd<f32>,
    fill: Arc<Fill>,
}

impl Feed {
    /// Takes a block in; what finds no room is counted.
    pub fn put(&mut self, block: SampleBlock<'_>) {
        let samples = block.interleaved();
        let channels = usize::from(block.channels()).max(1);
        let room = self.ring.vacant_len() / channels * channels;
        let taken = samples.get(..samples.len().min(room)).unwrap_or_default();
        self.ring.push_slice(taken);
        let lost = (samples.len() - taken.len()) / channels;
        self.fill.lost.fetch_add(lost as u64, Ordering::Relaxed);
    }

    /// Room for so many samples.
    pub fn room(&self) -> usize {
        self.ring.vacant_len()
    }
}

/// Where it comes out, for the sound system's thread. Takes no lock and no memory.
pub struct KeptBack {
    ring: HeapCons<f32>,
    stretch: Stretch,
    drift: Drift,
    fill: Arc<Fill>,
    from_hz: f64,
    to_hz: f64,
    channels: usize,
    target: usize,
    /// What it was made for.
    most: usize,
    /// Whether sound goes out, or is gathered first.
    playing: bool,
    /// Whether the ring's fill says how fast to play.
    follows: bool,
}

/// A ring that keeps sound back by `target_s`, from one rate to another.
///
/// # Errors
/// When the rates cannot be.
pub fn keep_back(
    sound: SoundFormat,
    to_hz: u32,
    target_s: f64,
) -> Result<(Feed, KeptBack, Arc<Fill>), StretchError> {
    let channels = usize::from(sound.channels);
    let from_hz = f64::from(sound.rate_hz);
    let target_s = target_s.clamp(0.0, 10.0);
    let target = whole(target_s * from_hz);
    let room = target + whole((TOO_FULL_S + ROOM_S) * from_hz);
    let (ring, out) = HeapRb::new(room * channels.max(1)).split();
    let fill = Arc::new(Fill::default());
    let kept = KeptBack {
        ring: out,
        stretch: Stretch::new(sound.rate_hz, to_hz, sound.channels)?,
        drift: Drift::new(target_s),
        fill: Arc::clone(&fill),
        from_hz,
        to_hz: f64::from(to_hz),
        channels,
        target,
        most: target,
        playing: false,
        follows: true,
    };
    Ok((Feed { ring, fill: Arc::clone(&fill) }, kept, fill))
}

impl KeptBack {
    /// At its own speed however full the ring is: for sound that waits until there is room.
    pub fn at_own_speed(mut self) -> Self {
        self.follows = false;
        self
    }

    /// Keeps sound back by `target_s` in the ring from the next start on; while sound goes out,
    /// nothing changes. No more than it was made for.
    pub fn aim(&mut self, target_s: f64) {
        let target = whole(target_s.clamp(0.0, 10.0) * self.from_hz);
        if !self.playing && target != self.target && target <= self.most {
            self.target = target;
            self.drift = Drift::new(target_s.clamp(0.0, 10.0));
        }
    }

    /// No more comes, for sound [at its own speed](Self::at_own_speed): what is there goes out at once.
    /// Other sound counts as kept back for too long by then, and all but its end is dropped.
    pub fn no_more(&mut self) {
        self.target = 0;
    }

    /// Fills a block of the output; how many instants of it are sound.
    pub fn play(&mut self, out: &mut [f32]) -> usize {
        let held = self.ring.occupied_len() / self.channels.max(1);
        if !self.playing && held < self.target.max(1) {
            out.fill(0.0);
            return 0;
        }
        let held = if self.follows { self.begin(held) } else { held };
        self.playing = true;
        let held_s = held as f64 / self.from_hz;
        let block_s = (out.len() / self.channels.max(1)) as f64 / self.to_hz;
        let speed = if self.follows { self.drift.speed(held_s, block_s) } else { 1.0 };
        self.stretch.set_speed(speed);
        self.fill.held_us.store(whole(held_s * 1e6) as u64, Ordering::Relaxed);
        self.fill.speed_ppb.store(parts(speed).cast_unsigned(), Ordering::Relaxed);
        let ring = &mut self.ring;
        let made = self.stretch.fill(out, |input| {
            ring.occupied_len() >= input.len() && ring.pop_slice(input) == input.len()
        });
        if made < out.len() / self.channels.max(1) {
            self.playing = false;
            self.fill.gaps.fetch_add(1, Ordering::Relaxed);
        }
        made
    }

    /// Drops what is too much, at a start and after a stall, and gives what is left.
    fn begin(&mut self, held: usize) -> usize {
        let most = self.target + whole(TOO_FULL_S * self.from_hz);
        let fresh = !self.playing;
        if fresh || held > most {
            self.ring.skip((held - self.target.min(held)) * self.channels);
            self.drift.again();
            if !fresh {
                self.fill.leaps.fetch_add(1, Ordering::Relaxed);
            }
            return self.target.min(held);
        }
        held
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "seconds in instants or microseconds, above 0"
)]
fn whole(value: f64) -> usize {
    value.round() as usize
}

#[expect(clippy::cast_possible_truncation, reason = "within 2,000 ppm")]
fn parts(speed: f64) -> i64 {
    ((speed - 1.0) * 1e9).round() as i64
}
