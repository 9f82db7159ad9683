//! A song that begins again when it ends, at the pace of the clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::audio::{SampleBlock, SoundError, SoundFormat, Source};

/// Instants handed out at once: 5 ms at 48 kHz, one frame's worth at the usual rate.
const BLOCK: usize = 240;

/// A block counts as late from here on: a driver that drops coils does so after ten times that.
const LATE: Duration = Duration::from_millis(20);

/// Behind by more than this, the clock is set anew: the computer slept.
const SLEPT: Duration = Duration::from_secs(2);

/// Longest sleep between two looks at the wish to stop.
const NAP: Duration = Duration::from_millis(20);

/// A whole song in memory.
#[derive(Debug, Clone)]
pub struct Song {
    /// Name for people.
    pub name: String,
    /// What it is.
    pub format: SoundFormat,
    /// All of it.
    pub interleaved: Arc<[f32]>,
}

impl Song {
    /// Length in instants.
    pub fn instants(&self) -> u64 {
        (self.interleaved.len() / usize::from(self.format.channels.max(1))) as u64
    }

    /// Length in seconds.
    pub fn seconds(&self) -> f64 {
        self.instants() as f64 / f64::from(self.format.rate_hz)
    }
}

/// The song, over and over.
#[derive(Debug)]
pub struct Looped {
    song: Song,
    at: usize,
    began: Option<Instant>,
    given: u64,
    until: u64,
    late: Arc<AtomicU32>,
    stop: Arc<AtomicBool>,
}

impl Looped {
    /// Until `stop` is raised, or `until` instants were heard.
    pub fn new(song: Song, stop: Arc<AtomicBool>, until: Option<u64>) -> Self {
        let until = until.unwrap_or(u64::MAX);
        Self { song, at: 0, began: None, given: 0, until, late: Arc::default(), stop }
    }

    /// Blocks that came late so far.
    pub fn late(&self) -> Arc<AtomicU32> {
        Arc::clone(&self.late)
    }

    /// Sleeps until the next block is due; false when the wish to stop came first.
    fn wait(&mut self) -> bool {
        let now = Instant::now();
        let seconds = self.given as f64 / f64::from(self.song.format.rate_hz);
        let due = *self.began.get_or_insert(now) + Duration::from_secs_f64(seconds);
        let behind = now.saturating_duration_since(due);
        if behind > LATE {
            self.late.fetch_add(1, Ordering::Relaxed);
        }
        if behind > SLEPT {
            self.began = now.checked_sub(Duration::from_secs_f64(seconds)).or(Some(now));
        }
        loop {
            if self.stop.load(Ordering::Relaxed) {
                return false;
            }
            let left = due.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return true;
            }
            thread::sleep(left.min(NAP));
        }
    }
}

impl Source for Looped {
    fn format(&self) -> SoundFormat {
        self.song.format
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let left = self.until.saturating_sub(self.given);
        if left == 0 || self.song.interleaved.is_empty() || !self.wait() {
            return Ok(None);
        }
        let channels = usize::from(self.song.format.channels.max(1));
        let room = (self.song.interleaved.len() - self.at) / channels;
        let count = room.min(BLOCK).min(usize::try_from(left).unwrap_or(usize::MAX));
        let end = self.at + count * channels;
        let block = self.song.interleaved.get(self.at..end).unwrap_or_default();
        self.at = if end + channels > self.song.interleaved.len() { 0 } else { end };
        self.given += count as u64;
        Ok(SampleBlock::new(block, self.song.format.channels))
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    fn song(instants: u16) -> Song {
        let interleaved = (0..instants * 2).map(f32::from).collect();
        let format = SoundFormat { rate_hz: 192_000, channels: 2 };
        Song { name: "count".into(), format, interleaved }
    }

    #[test]
    fn the_end_joins_the_beginning_and_nothing_is_left_out() {
        let song = song(1000);
        let mut source = Looped::new(song.clone(), Arc::default(), Some(2500));
        let heard = crate::audio::collect(&mut source).unwrap();
        let whole = &*song.interleaved;
        assert_eq!(heard, [whole, whole, &whole[..1000]].concat());
    }

    #[test]
    fn it_ends_when_it_is_stopped() {
        let stop = Arc::new(AtomicBool::new(true));
        let mut source = Looped::new(song(10), stop, None);
        assert!(source.next_block().unwrap().is_none());
    }
}
