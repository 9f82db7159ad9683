//! The thread that owns a port, from opening it to all off.
#![allow(clippy::disallowed_methods, reason = "a thread of its own, with the clock that paces it")]

use std::io::{self, ErrorKind, Read, Write};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use serialport::{ClearBuffer, SerialPort};

use super::backoff::Backoff;
use super::error::BoardError;
use super::link::Link;
use super::report::BoardReport;
use super::ring::Taker;

/// How long the thread waits for bytes from the board before it looks for frames again: until one
/// that it knows of is due, within these bounds.
const LOOK_S: (f64, f64) = (0.0002, 0.002);

/// How long a port may take to take bytes before the thread looks again whether they still matter.
const WRITE_TIMEOUT: Duration = Duration::from_millis(20);

/// How long the thread waits at the end for frames that are due before the OFF ...
const LONGEST_END_S: f64 = 0.6;

/// ... and for the board to say that it is off, and how often it is told meanwhile.
const LONGEST_FAREWELL_S: f64 = 1.0;
const FAREWELL_EVERY_S: f64 = 0.1;

/// Pause between looks at a port that is gone.
const ABSENT: Duration = Duration::from_millis(5);

/// What both threads see.
#[derive(Debug)]
pub(super) struct Shared {
    pub(super) start: Instant,
    pub(super) stop: AtomicBool,
    pub(super) off_now: AtomicBool,
    /// Frames that found no room.
    pub(super) crowded: AtomicU64,
    report: Mutex<BoardReport>,
    changed: Condvar,
}

impl Shared {
    pub(super) fn new() -> Self {
        Self {
            start: Instant::now(),
            stop: AtomicBool::new(false),
            off_now: AtomicBool::new(false),
            crowded: AtomicU64::new(0),
            report: Mutex::default(),
            changed: Condvar::new(),
        }
    }

    pub(super) fn now_s(&self) -> f64 {
        self.start.elapsed().as_secs_f64()
    }

    fn lock(&self) -> MutexGuard<'_, BoardReport> {
        // A snapshot is whole whoever panicked.
        self.report.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn report(&self) -> BoardReport {
        let mut report = self.lock().clone();
        report.skipped += self.crowded.load(Ordering::Relaxed);
        report
    }

    fn publish(&self, report: BoardReport) {
        *self.lock() = report;
        self.changed.notify_all();
    }

    /// Waits until a report satisfies `is_it`, or until then.
    pub(super) fn wait(&self, until: Instant, is_it: impl Fn(&BoardReport) -> bool) -> BoardReport {
        let mut report = self.lock();
        loop {
            let left = until.saturating_duration_since(Instant::now());
            if is_it(&report) || left.is_zero() {
                return report.clone();
            }
            let waited = self.changed.wait_timeout(report, left);
            report = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

/// Opens a port for a board: 8N1, no flow control.
pub(super) fn open_port(port: &str, baud: u32) -> Result<Box<dyn SerialPort>, BoardError> {
    let opened = serialport::new(port, baud).timeout(WRITE_TIMEOUT).open().and_then(|opened| {
        // What an earlier run did not fetch is no answer to this one.
        opened.clear(ClearBuffer::Input)?;
        Ok(opened)
    });
    opened.map_err(|error| {
        let why = match error.kind() {
            serialport::ErrorKind::Io(ErrorKind::NotFound) => "there is no such port".to_owned(),
            serialport::ErrorKind::Io(ErrorKind::PermissionDenied) => {
                "you may not use this port (on Linux, its group is often dialout)".to_owned()
            }
            _ if is_no_line(&error) => "this is no serial port".to_owned(),
            // The crate says so of ports that another program has.
            serialport::ErrorKind::NoDevice => format!("{error}: does another program use it?"),
            _ => error.to_string(),
        };
        BoardError::Open { port: port.to_owned(), why }
    })
}

/// The system's answer for files and devices that have no line settings: ENOTTY of POSIX, which it
/// calls by an old name.
fn is_no_line(error: &serialport::Error) -> bool {
    let said = error.description.to_lowercase();
    said.contains("typewriter") || said.contains("inappropriate ioctl")
}

/// A port that is told OFF when it is dropped, whatever the reason, a panic too.
struct Guarded<W: Write> {
    port: W,
    off: Vec<u8>,
}

impl<W: Write> Drop for Guarded<W> {
    fn drop(&mut self) {
        // Nobody is left to tell; a board that does not hear this switches off by its own watchdog.
        let _ = self.port.write_all(&self.off);
    }
}

/// What the thread has in hand.
pub(super) struct Writer {
    pub(super) link: Link,
    pub(super) queue: Taker,
    pub(super) shared: Arc<Shared>,
    pub(super) port: String,
    pub(super) baud: u32,
}

type Port = Guarded<Box<dyn SerialPort>>;

impl Writer {
    /// Until [`Shared::stop`]: then all off, and out.
    pub(super) fn run(mut self, first: Box<dyn SerialPort>) {
        let mut port = Some(self.take_in(first));
        let mut backoff = Backoff::default();
        let mut ending_s = None;
        loop {
            let now_s = self.shared.now_s();
            if self.shared.stop.load(Ordering::Acquire) {
                let began_s = *ending_s.get_or_insert(now_s);
                if self.link.is_done(&mut self.queue) || now_s > began_s + LONGEST_END_S {
                    break;
                }
            }
            let result = match &mut port {
                Some(port) => self.step(port),
                None => {
                    self.look_for_port(&mut port, &mut backoff);
                    Ok(())
                }
            };
            if let Err(error) = result {
                port = None;
                backoff.failed(self.shared.now_s());
                self.link.gone(&format!("the port {} is gone ({error})", self.port));
            }
            self.shared.publish(self.link.report());
        }
        self.link.end(&mut self.queue);
        if let Some(port) = port {
            self.farewell(port);
        }
        self.shared.publish(self.link.report());
    }

    fn take_in(&mut self, port: Box<dyn SerialPort>) -> Port {
        self.link.opened(self.shared.now_s());
        Guarded { port, off: self.link.off() }
    }

    fn look_for_port(&mut self, port: &mut Option<Port>, backoff: &mut Backoff) {
        let now_s = self.shared.now_s();
        let off_now = self.shared.off_now.swap(false, Ordering::AcqRel);
        let _ = self.link.turn(&mut self.queue, off_now, now_s);
        if !backoff.is_due(now_s) {
            return thread::sleep(ABSENT);
        }
        match open_port(&self.port, self.baud) {
            Ok(found) => {
                backoff.worked();
                *port = Some(self.take_in(found));
            }
            Err(error) => {
                backoff.failed(self.shared.now_s());
                self.link.gone(&error.to_string());
            }
        }
    }

    /// Writes what is due, reads what is there.
    fn step(&mut self, port: &mut Port) -> io::Result<()> {
        loop {
            let now_s = self.shared.now_s();
            let off_now = self.shared.off_now.swap(false, Ordering::AcqRel);
            let Some(bytes) = self.link.turn(&mut self.queue, off_now, now_s) else { break };
            match port.port.write(bytes) {
                Ok(0) => break,
                Ok(count) => self.link.wrote(count, self.shared.now_s()),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if is_slow(&error) => break,
                Err(error) => return Err(error),
            }
        }
        self.listen(port)
    }

    fn listen(&mut self, port: &mut Port) -> io::Result<()> {
        let mut bytes = [0; 1024];
        let wake_s = self.link.wake_s(&self.queue).unwrap_or(f64::INFINITY);
        let look_s = (wake_s - self.shared.now_s()).clamp(LOOK_S.0, LOOK_S.1);
        port.port.set_timeout(Duration::from_secs_f64(look_s))?;
        let read = port.port.read(&mut bytes);
        port.port.set_timeout(WRITE_TIMEOUT)?;
        match read {
            Ok(0) => Err(ErrorKind::UnexpectedEof.into()),
            Ok(count) => {
                self.link.heard(bytes.get(..count).unwrap_or_default(), self.shared.now_s());
                Ok(())
            }
            Err(error) if is_slow(&error) || error.kind() == ErrorKind::Interrupted => Ok(()),
            Err(error) => Err(error),
        }
    }

    /// OFF at once, and until the board says that it is off, for a short while. Never `flush`: that may wait for
    /// ever on an adapter that is stuck.
    fn farewell(&mut self, mut port: Port) {
        let began_s = self.shared.now_s();
        let heard = self.link.report().statuses;
        let off = self.link.off();
        let mut told = 0_u32;
        loop {
            let passed_s = self.shared.now_s() - began_s;
            if passed_s >= f64::from(told) * FAREWELL_EVERY_S {
                if !port.port.write(&off).is_ok_and(|count| count == off.len()) {
                    // A stuck line holds frames. Should it come free when everybody takes the coils for
                    // off, they must not move them: they go, and the OFF takes their place.
                    let _ = port.port.clear(ClearBuffer::Output);
                    let _ = port.port.write(&off);
                }
                told += 1;
            }
            let report = self.link.report();
            let is_off = report.statuses > heard && report.status.is_some_and(|it| !it.driving);
            let knows = report.connected();
            if is_off {
                self.link.said_off();
            }
            if passed_s > LONGEST_FAREWELL_S || (is_off || !knows) && told > 0 {
                break;
            }
            if self.listen(&mut port).is_err() {
                break;
            }
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        if thread::panicking() {
            self.link.gone("the thread of this line has failed: start the program again");
            self.shared.publish(self.link.report());
        }
    }
}

/// Nothing went through for now; anything else means that the port is gone.
fn is_slow(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[derive(Clone, Default)]
    struct Wire(Arc<Mutex<Vec<u8>>>);

    impl Write for Wire {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            panic!("flush may wait for ever")
        }
    }

    #[test]
    fn a_panic_of_the_line_s_own_thread_leaves_off_on_the_wire() {
        let wire = Wire::default();
        let port = Guarded { port: wire.clone(), off: vec![0, 7, 7] };
        let thread = thread::spawn(move || {
            let _port = port;
            panic!("something went wrong");
        });
        assert!(thread.join().is_err());
        assert_eq!(*wire.0.lock().unwrap(), [0, 7, 7]);
    }
}
