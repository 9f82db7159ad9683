//! The boards of a display as one sink.
#![allow(clippy::disallowed_methods, reason = "starts the lines' threads and waits for them")]

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use super::error::BoardError;
use super::line::check_line;
use super::link::Link;
use super::report::{BoardReport, LineState};
use super::ring::{Entry, Giver, ring};
use super::settings::{BoardSettings, Wiring};
use super::split::codes;
use super::writer::{Shared, Writer, open_port};
use crate::budget::Duty;
use crate::sink::{Sink, SinkError};

/// Frames that may wait beyond those of a second.
const SPARE_FRAMES: usize = 64;

/// How often reports are looked at while someone waits.
const LOOK: Duration = Duration::from_millis(5);

/// Every board of a display. Frames go out on threads of their own; dropping it ends them, after
/// all off, which goes out within 0.6 s; another second is left to the boards to say that they are.
#[derive(Debug)]
pub struct Board {
    lines: Vec<Line>,
    baud: u32,
}

/// Sees the reports of boards from any thread, also once they are closed.
#[derive(Debug, Clone)]
pub struct Watch(Vec<Arc<Shared>>);

impl Watch {
    /// All boards as one: the worst state, sums of counts.
    pub fn report(&self) -> BoardReport {
        let reports = self.0.iter().map(|shared| shared.report());
        reports.reduce(|all, next| all.merge(&next)).unwrap_or_default()
    }

    /// Each board, in the order of the ports.
    pub fn reports(&self) -> Vec<BoardReport> {
        self.0.iter().map(|shared| shared.report()).collect()
    }

    /// Waits until a report of all boards satisfies `is_it`, or the time is over; the last report.
    pub fn wait(&self, within: Duration, is_it: impl Fn(&BoardReport) -> bool) -> BoardReport {
        let until = Instant::now() + within;
        loop {
            let report = self.report();
            let now = Instant::now();
            let Some(first) = self.0.first().filter(|_| now < until && !is_it(&report)) else {
                return report;
            };
            first.wait(until.min(now + LOOK), |_| false);
        }
    }
}

#[derive(Debug)]
struct Line {
    port: String,
    wiring: Wiring,
    giver: Giver,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl Board {
    /// Opens a port for each board, in the order of the boards' numbers, and begins to greet them.
    /// Nothing is driven before a board has answered and matches: see
    /// [`wait_ready`](Self::wait_ready).
    ///
    /// # Errors
    ///
    /// Another number of ports, a line that is too slow for the frames, a port that cannot be
    /// opened.
    pub fn open(settings: &BoardSettings, ports: &[String]) -> Result<Self, BoardError> {
        let baud = check_line(settings)?;
        if ports.len() != settings.boards.len() {
            let boards = settings.boards.iter().map(|board| board.number).collect();
            return Err(BoardError::Ports { boards, ports: ports.len() });
        }
        for (number, port) in ports.iter().enumerate() {
            if ports.iter().skip(number + 1).any(|other| is_same(port, other)) {
                return Err(BoardError::Twice { port: port.clone() });
            }
        }
        let opened = ports.iter().map(|port| open_port(port, baud)).collect::<Result<Vec<_>, _>>();
        let mut board = Self { lines: Vec::with_capacity(ports.len()), baud };
        for ((wiring, name), port) in settings.boards.iter().zip(ports).zip(opened?) {
            board.lines.push(Line::start(settings, wiring, name, (port, baud))?);
        }
        Ok(board)
    }

    /// Waits until every board is ready.
    ///
    /// # Errors
    ///
    /// The first board that does not match, saying what differs, or that has not answered in time.
    pub fn wait_ready(&self, within: Duration) -> Result<(), BoardError> {
        let until = Instant::now() + within;
        for line in &self.lines {
            let settled = |report: &BoardReport| {
                matches!(report.state, LineState::Ready | LineState::Refused)
            };
            let report = line.shared.wait(until, settled);
            let port = line.port.clone();
            let why = report.sentence.as_deref().unwrap_or_default().to_owned();
            match report.state {
                LineState::Ready => {}
                LineState::Refused => return Err(BoardError::Refused { port, why }),
                LineState::Gone => return Err(BoardError::Open { port, why }),
                LineState::Asking => {
                    let (seconds, baud) = (within.as_secs_f64(), self.baud);
                    return Err(BoardError::Silent { port, seconds, baud });
                }
            }
        }
        Ok(())
    }

    /// All boards as one: the worst state, sums of counts.
    pub fn report(&self) -> BoardReport {
        self.watch().report()
    }

    /// For whoever looks on while another feeds the boards.
    pub fn watch(&self) -> Watch {
        Watch(self.lines.iter().map(|line| Arc::clone(&line.shared)).collect())
    }

    /// All off at once, before any frame that waits; those are skipped. Frames given later drive
    /// again.
    pub fn off_now(&self) {
        for line in &self.lines {
            line.shared.off_now.store(true, Ordering::Release);
        }
    }
}

/// Whether two names are one port, as a link is.
fn is_same(one: &str, other: &str) -> bool {
    let real = |port: &str| std::fs::canonicalize(port).ok();
    one == other || real(one).is_some_and(|it| real(other) == Some(it))
}

impl Line {
    fn start(
        settings: &BoardSettings,
        wiring: &Wiring,
        name: &str,
        (port, baud): (Box<dyn serialport::SerialPort>, u32),
    ) -> Result<Self, BoardError> {
        let (num, den) = settings.rate.ratio();
        let frames = usize::try_from(num / den).unwrap_or(0) + SPARE_FRAMES;
        let (giver, queue) = ring(frames, wiring.coils.len());
        let shared = Arc::new(Shared::new());
        let writer = Writer {
            link: Link::new(settings, wiring, baud),
            queue,
            shared: Arc::clone(&shared),
            port: name.to_owned(),
            baud,
        };
        let thread = thread::Builder::new()
            .name(format!("board {}", wiring.number))
            .spawn(move || writer.run(port))
            .map_err(|why| BoardError::Thread { port: name.to_owned(), why: why.to_string() })?;
        Ok(Self {
            port: name.to_owned(),
            wiring: wiring.clone(),
            giver,
            shared,
            thread: Some(thread),
        })
    }

    fn give(&mut self, number: u32, off: bool, duties: &[Duty]) -> bool {
        let entry = Entry { number, off, at_s: self.shared.now_s() };
        self.giver.give(entry, codes(&self.wiring, duties))
    }
}

impl Sink for Board {
    /// Hands the frame to the lines and comes back at once, whatever they do. Frames that do not
    /// get through are counted in [`report`](Board::report).
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        for line in &mut self.lines {
            if !line.give(number, false, duties) {
                line.shared.crowded.fetch_add(1, Ordering::Relaxed);
            }
        }
        Ok(())
    }

    /// All off when frame `number` would be due, after the frames before it.
    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        for line in &mut self.lines {
            if !line.give(number, true, &[]) {
                line.shared.off_now.store(true, Ordering::Release);
            }
        }
        Ok(())
    }
}

impl Drop for Board {
    fn drop(&mut self) {
        for line in &self.lines {
            line.shared.stop.store(true, Ordering::Release);
        }
        for line in &mut self.lines {
            if let Some(thread) = line.thread.take() {
                // If it panicked, it has said so, and has sent OFF.
                let _ = thread.join();
            }
        }
    }
}
