//! A ring with a thread at its end that writes to a disk.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

/// Items written at a time.
const PORTION: usize = 32 * 1024;

/// Between two looks at an empty ring.
const LOOK: Duration = Duration::from_millis(20);

/// Writes what comes out of the ring.
pub(super) trait Pen<T>: Send {
    /// Writes a portion.
    fn put(&mut self, portion: &[T]) -> io::Result<()>;
    /// Brings everything to the disk; called whenever the ring is empty.
    fn flush(&mut self) -> io::Result<()>;
    /// Ends the file under its name.
    fn settle(self: Box<Self>) -> io::Result<PathBuf>;
}

/// Why nothing more is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ended {
    /// The disk did not keep up; the ring is full.
    Slow,
    /// The disk failed; [`Scribe::finish`] says how.
    Failed,
}

#[derive(Debug, Default)]
struct Flags {
    failed: AtomicBool,
    ending: AtomicBool,
    whole: AtomicBool,
    abandoned: AtomicBool,
}

/// The near end. Never waits, never takes memory.
pub(super) struct Scribe<T> {
    ring: HeapProd<T>,
    flags: Arc<Flags>,
    thread: Option<JoinHandle<io::Result<Option<PathBuf>>>>,
}

impl<T: Copy + Default + Send + 'static> Scribe<T> {
    /// A ring for `room` items and its thread.
    pub(super) fn start(pen: Box<dyn Pen<T>>, room: usize, name: &str) -> io::Result<Self> {
        let (mut ring, mut far) = HeapRb::new(room).split();
        // Touched once, so that no frame waits for the system to hand out a page.
        ring.push_iter(std::iter::repeat_n(T::default(), room));
        far.clear();
        let flags = Arc::new(Flags::default());
        let theirs = Arc::clone(&flags);
        let thread = thread::Builder::new().name(name.into()).spawn(move || {
            let end = write(far, pen, &theirs);
            theirs.failed.store(end.is_err(), Ordering::Release);
            end
        })?;
        Ok(Self { ring, flags, thread: Some(thread) })
    }

    /// All of `items`, or an error and none of them.
    pub(super) fn put(&mut self, items: &[T]) -> Result<(), Ended> {
        if self.flags.failed.load(Ordering::Acquire) {
            return Err(Ended::Failed);
        }
        if self.ring.vacant_len() < items.len() {
            return Err(Ended::Slow);
        }
        self.ring.push_slice(items);
        Ok(())
    }

    /// Tells the thread to end, and does not wait for it: the frame path may call this. What is
    /// still in the ring is written and the file gets its name if `whole`, or else it is let go.
    pub(super) fn close(&mut self, whole: bool) {
        self.flags.whole.store(whole, Ordering::Relaxed);
        self.flags.abandoned.store(!whole, Ordering::Relaxed);
        self.flags.ending.store(true, Ordering::Release);
    }

    /// Ends the thread once everything is written; the file gets its name if `whole`.
    pub(super) fn finish(mut self, whole: bool) -> io::Result<Option<PathBuf>> {
        self.flags.whole.store(whole, Ordering::Relaxed);
        self.end().unwrap_or(Ok(None))
    }
}

impl<T> Scribe<T> {
    fn end(&mut self) -> Option<io::Result<Option<PathBuf>>> {
        self.flags.ending.store(true, Ordering::Release);
        let panicked = |_| Err(io::Error::other("the thread that writes it broke down"));
        self.thread.take().map(|thread| thread.join().unwrap_or_else(panicked))
    }
}

impl<T> Drop for Scribe<T> {
    fn drop(&mut self) {
        // Whoever drops it has another end to report.
        let _ = self.end();
    }
}

fn write<T: Copy + Default>(
    mut ring: HeapCons<T>,
    mut pen: Box<dyn Pen<T>>,
    flags: &Flags,
) -> io::Result<Option<PathBuf>> {
    let mut portion = vec![T::default(); PORTION];
    loop {
        // Asked before the last look, so that nothing is left behind.
        let ending = flags.ending.load(Ordering::Acquire);
        if ending && flags.abandoned.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let count = ring.pop_slice(&mut portion);
        if count > 0 {
            pen.put(portion.get(..count).unwrap_or_default())?;
            continue;
        }
        pen.flush()?;
        if !ending {
            thread::sleep(LOOK);
        } else if flags.whole.load(Ordering::Relaxed) {
            return pen.settle().map(Some);
        } else {
            return Ok(None);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;
    use std::sync::mpsc::{Receiver, Sender, channel};

    /// A disk that takes nothing until it is let.
    struct Stuck {
        begun: Sender<usize>,
        let_go: Receiver<()>,
    }

    impl Pen<u8> for Stuck {
        fn put(&mut self, portion: &[u8]) -> io::Result<()> {
            let _ = self.begun.send(portion.len());
            let _ = self.let_go.recv();
            Ok(())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
        fn settle(self: Box<Self>) -> io::Result<PathBuf> {
            Ok(PathBuf::from("settled"))
        }
    }

    #[test]
    fn a_disk_that_stands_still_is_left_without_waiting_for_it() {
        let (begun, portions) = channel();
        let (go, let_go) = channel();
        let pen = Box::new(Stuck { begun, let_go });
        let mut scribe = Scribe::start(pen, 4 * PORTION, "stuck").unwrap();
        scribe.put(&[1; 10]).unwrap();
        assert_eq!(portions.recv(), Ok(10));
        while scribe.put(&[2; PORTION]).is_ok() {}
        assert_eq!(scribe.put(&[2; PORTION]), Err(Ended::Slow));
        // The disk still stands still here: this must come back all the same.
        scribe.close(false);
        go.send(()).unwrap();
        drop(scribe);
        assert_eq!(portions.iter().count(), 0, "what waited was written to a disk that was left");
    }

    #[test]
    fn closed_as_whole_it_writes_what_waits_and_gets_its_name() {
        let (begun, portions) = channel();
        let (go, let_go) = channel();
        drop(go);
        let pen = Box::new(Stuck { begun, let_go });
        let mut scribe = Scribe::start(pen, 4 * PORTION, "whole").unwrap();
        scribe.put(&[1; 3 * PORTION]).unwrap();
        scribe.close(true);
        let name = scribe.finish(true).unwrap();
        assert_eq!(name, Some(PathBuf::from("settled")));
        assert_eq!(portions.iter().sum::<usize>(), 3 * PORTION);
    }
}
