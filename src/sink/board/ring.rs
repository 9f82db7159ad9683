//! Frames on their way from the engine's thread to a line's thread: no lock, no memory, no wait.
//!
//! One giver, one taker. Codes lie in atomics that only the giver writes, in slots that only the
//! taker frees; `head` and `tail` hand them over.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI32, AtomicU32, AtomicU64, AtomicUsize, Ordering};

/// One frame, or all off from a frame on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Entry {
    pub(super) number: u32,
    /// All off from here on; there are no codes.
    pub(super) off: bool,
    /// When it was given, s.
    pub(super) at_s: f64,
}

#[derive(Debug, Default)]
struct Slot {
    number: AtomicU32,
    off: AtomicBool,
    at_s: AtomicU64,
}

#[derive(Debug)]
struct Ring {
    slots: Box<[Slot]>,
    codes: Box<[AtomicI32]>,
    channels: usize,
    /// Entries ever given.
    head: AtomicUsize,
    /// Entries ever freed.
    tail: AtomicUsize,
}

/// Two ends of a ring with room for so many frames of so many channels.
pub(super) fn ring(frames: usize, channels: usize) -> (Giver, Taker) {
    // A power of two, so that counting past the largest number does no harm.
    let frames = frames.next_power_of_two();
    let ring = Arc::new(Ring {
        slots: (0..frames).map(|_| Slot::default()).collect(),
        codes: (0..frames * channels).map(|_| AtomicI32::new(0)).collect(),
        channels,
        head: AtomicUsize::new(0),
        tail: AtomicUsize::new(0),
    });
    (Giver { ring: Arc::clone(&ring) }, Taker { ring, seen: 0 })
}

impl Ring {
    fn slot(&self, at: usize) -> Option<(&Slot, &[AtomicI32])> {
        let at = at & (self.slots.len() - 1);
        let codes = self.codes.get(at * self.channels..(at + 1) * self.channels)?;
        Some((self.slots.get(at)?, codes))
    }
}

/// The engine's end.
#[derive(Debug)]
pub(super) struct Giver {
    ring: Arc<Ring>,
}

impl Giver {
    /// Hands over an entry; false when there is no room.
    pub(super) fn give(&mut self, entry: Entry, codes: impl Iterator<Item = i32>) -> bool {
        let ring = &self.ring;
        let head = ring.head.load(Ordering::Relaxed);
        let free = ring.slots.len() - head.wrapping_sub(ring.tail.load(Ordering::Acquire));
        let Some((slot, places)) = ring.slot(head).filter(|_| free > 0) else { return false };
        slot.number.store(entry.number, Ordering::Relaxed);
        slot.off.store(entry.off, Ordering::Relaxed);
        slot.at_s.store(entry.at_s.to_bits(), Ordering::Relaxed);
        for (place, code) in places.iter().zip(codes) {
            place.store(code, Ordering::Relaxed);
        }
        ring.head.store(head.wrapping_add(1), Ordering::Release);
        true
    }
}

/// The line's end.
#[derive(Debug)]
pub(super) struct Taker {
    ring: Arc<Ring>,
    /// Entries ever looked at.
    seen: usize,
}

impl Taker {
    /// Shows every entry that was given since the last call.
    pub(super) fn arrivals(&mut self, mut each: impl FnMut(Entry)) {
        let head = self.ring.head.load(Ordering::Acquire);
        while self.seen != head {
            if let Some(entry) = self.read(self.seen) {
                each(entry);
            }
            self.seen = self.seen.wrapping_add(1);
        }
    }

    fn read(&self, at: usize) -> Option<Entry> {
        let (slot, _) = self.ring.slot(at)?;
        Some(Entry {
            number: slot.number.load(Ordering::Relaxed),
            off: slot.off.load(Ordering::Relaxed),
            at_s: f64::from_bits(slot.at_s.load(Ordering::Relaxed)),
        })
    }

    fn tail(&self) -> usize {
        self.ring.tail.load(Ordering::Relaxed)
    }

    /// Entries that were seen and wait.
    pub(super) fn waiting(&self) -> usize {
        self.seen.wrapping_sub(self.tail())
    }

    /// One of them, the oldest being 0.
    pub(super) fn entry(&self, nth: usize) -> Option<Entry> {
        if nth < self.waiting() { self.read(self.tail().wrapping_add(nth)) } else { None }
    }

    /// Codes of the oldest.
    pub(super) fn codes(&self) -> impl Iterator<Item = i32> + Clone + '_ {
        let slot = if self.waiting() > 0 { self.ring.slot(self.tail()) } else { None };
        let codes = slot.map_or(&[] as &[AtomicI32], |(_, codes)| codes);
        codes.iter().map(|code| code.load(Ordering::Relaxed))
    }

    /// Frees the oldest `count` entries.
    pub(super) fn free(&mut self, count: usize) {
        let tail = self.tail().wrapping_add(count.min(self.waiting()));
        self.ring.tail.store(tail, Ordering::Release);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn frame(number: u32) -> Entry {
        Entry { number, off: false, at_s: f64::from(number) }
    }

    #[test]
    fn entries_come_out_whole_and_in_order_and_none_is_written_over() {
        let (mut giver, mut taker) = ring(4, 2);
        for number in 0..4 {
            assert!(giver.give(frame(number), [1, -2].into_iter()));
        }
        assert!(!giver.give(frame(4), [7, 7].into_iter()), "there was no room");
        let mut seen = Vec::new();
        taker.arrivals(|entry| seen.push(entry.number));
        assert_eq!(seen, [0, 1, 2, 3]);
        taker.free(2);
        assert!(giver.give(frame(5), [8, 9].into_iter()));
        taker.arrivals(|entry| seen.push(entry.number));
        assert_eq!(seen, [0, 1, 2, 3, 5]);
        assert_eq!(taker.entry(2), Some(frame(5)));
        assert_eq!(taker.entry(3), None);
        taker.free(2);
        assert_eq!(taker.codes().collect::<Vec<_>>(), [8, 9]);
        taker.free(9);
        assert_eq!((taker.waiting(), taker.codes().count()), (0, 0));
    }

    #[test]
    #[allow(clippy::disallowed_methods, reason = "two threads are what it is for")]
    fn two_threads_never_see_half_a_frame() {
        let (mut giver, mut taker) = ring(8, 64);
        let last = 20_000;
        let writer = std::thread::spawn(move || {
            for number in 0..=last {
                let code = i32::try_from(number).unwrap();
                while !giver.give(frame(number), std::iter::repeat(code)) {
                    std::thread::yield_now();
                }
            }
        });
        let mut next = 0;
        while next <= last {
            taker.arrivals(|_| ());
            if let Some(entry) = taker.entry(0) {
                assert_eq!(entry, frame(next));
                let code = i32::try_from(next).unwrap();
                assert!(taker.codes().all(|it| it == code), "frame {next} is torn");
                taker.free(1);
                next += 1;
            } else {
                std::thread::yield_now();
            }
        }
        writer.join().unwrap();
    }
}
