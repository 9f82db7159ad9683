//! What commands that drive boards share: greeting them, stopping in good order, telling how it goes.

use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use coilscore::budget::Budget;
use coilscore::preset::{Display, board_settings};
use coilscore::run::Flow;
use coilscore::run::play::Beat;
use coilscore::sink::board::{Board, BoardError, BoardReport, BoardSettings, LineState, Watch};
use coilscore::units::Rate;

use super::{Failure, heat, play, signals, tell};

/// How long a board may take to answer: some start anew when their port is opened, which takes two
/// seconds at most (common practice, no source).
pub(super) const ANSWER: Duration = Duration::from_secs(3);

/// How long a sleep may be before the wish to stop is looked at again.
const NAP: Duration = Duration::from_millis(20);

/// How often the status line is written on a terminal.
const SHOW_S: f64 = 0.25;

/// Where people act: said before every run that drives something.
const CAUTION: &str = "\
before power: a cut-out on the iron, a fuse in every rail and the board's own watchdog, working
  without this computer. Iron stays hot after the end; magnets pinch, and upset implants; keep
  liquids below and away from anything live; mains is for licensed people. Stay with it. Ctrl-C: all off";

/// The user's wish to stop: Ctrl-C, a plain kill, a closed terminal. Never ends the program by
/// itself, as coils must be off first.
pub(super) struct Stop(Arc<AtomicBool>);

impl Stop {
    pub(super) fn new() -> Result<Self, Failure> {
        signals::stop_flag().map(Self)
    }

    pub(super) fn is_wished(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// The display's boards, at the speed that was typed or written.
pub(super) fn line_settings(
    line: &play::Line,
    display: &Display,
    rate: Rate,
) -> Result<BoardSettings, Failure> {
    let mut settings = board_settings(display, rate).map_err(Failure::refused)?;
    settings.baud = line.baud.or(settings.baud);
    Ok(settings)
}

/// What was refused, and what failed.
pub(super) fn board_failure(error: BoardError) -> Failure {
    match error {
        BoardError::Open { .. } | BoardError::Silent { .. } | BoardError::Thread { .. } => {
            Failure::failed(error)
        }
        other => Failure::refused(other),
    }
}

/// Opens the ports and waits until every board is ready.
pub(super) fn greet(
    settings: &BoardSettings,
    ports: &[String],
    stop: &Stop,
    quiet: bool,
) -> Result<Board, Failure> {
    let board = Board::open(settings, ports).map_err(board_failure)?;
    if !quiet {
        tell(CAUTION);
    }
    let until = Instant::now() + ANSWER;
    loop {
        match board.wait_ready(NAP) {
            Ok(()) => return Ok(board),
            Err(BoardError::Silent { port, baud, .. }) => {
                if stop.is_wished() {
                    return Err(Failure::Stopped("stopped before anything was driven".into()));
                }
                if Instant::now() >= until {
                    let seconds = ANSWER.as_secs_f64();
                    return Err(board_failure(BoardError::Silent { port, seconds, baud }));
                }
            }
            Err(error) => return Err(board_failure(error)),
        }
    }
}

/// Once boards are closed: those that have not said that they are off, in a sentence.
pub(super) fn not_off(watch: &Watch, ports: &[String]) -> Option<String> {
    let reports = watch.reports();
    let silent = reports.iter().zip(ports).filter(|(report, _)| !report.said_off);
    let silent: Vec<&str> = silent.map(|(_, port)| port.as_str()).collect();
    let what = match silent.as_slice() {
        [] => return None,
        [port] => format!("the board at {port} has not said that it is off"),
        ports => format!("the boards at {} have not said that they are off", ports.join(", ")),
    };
    Some(format!(
        "{what}. Its own watchdog should have seen to that; do not rely on it: cut the coils' supply \
         before you touch anything"
    ))
}

/// The clock on the wall: paces frames, keeps the heat, tells how it goes.
pub(super) struct Wall<'a> {
    stop: &'a Stop,
    watch: Watch,
    warmth: &'a heat::Warmth,
    told: Told,
    began: Option<Instant>,
    /// A clock of its own to go by: how far the sound has been heard, s. `None` before it begins; an
    /// error once it has ended for good.
    clock: Option<&'a dyn Fn() -> Result<Option<f64>, ()>>,
    stuck: bool,
}

impl<'a> Wall<'a> {
    pub(super) fn new(stop: &'a Stop, watch: Watch, warmth: &'a heat::Warmth, quiet: bool) -> Self {
        let told = Told { quiet, state: LineState::Ready, shown_s: f64::NEG_INFINITY };
        Self { stop, watch, warmth, told, began: None, clock: None, stuck: false }
    }

    /// Goes by another clock than the computer's.
    pub(super) fn by(mut self, clock: &'a dyn Fn() -> Result<Option<f64>, ()>) -> Self {
        self.clock = Some(clock);
        self
    }

    /// Whether it ended because the heat could not be kept.
    pub(super) fn end(self) -> bool {
        self.told.wipe();
        self.stuck
    }
}

impl Beat for Wall<'_> {
    fn wait(&mut self, time_s: f64) -> Flow {
        if let Some(clock) = self.clock {
            while !self.stop.is_wished() {
                let left_s = match clock() {
                    Ok(Some(heard_s)) if heard_s >= time_s => return Flow::Continue(()),
                    Ok(Some(heard_s)) => time_s - heard_s,
                    Ok(None) => NAP.as_secs_f64(),
                    Err(()) => return Flow::Break(()),
                };
                std::thread::sleep(NAP.min(Duration::from_secs_f64(left_s)));
            }
            return Flow::Break(());
        }
        let due = *self.began.get_or_insert_with(Instant::now) + Duration::from_secs_f64(time_s);
        while !self.stop.is_wished() {
            let left = due.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Flow::Continue(());
            }
            std::thread::sleep(left.min(NAP));
        }
        Flow::Break(())
    }

    fn stepped(&mut self, time_s: f64, budget: &Budget) -> Flow {
        if !self.warmth.note(budget.load().node_c) {
            self.stuck = true;
            return Flow::Break(());
        }
        if time_s >= self.told.shown_s + SHOW_S {
            self.told.show(&self.watch.report(), time_s, budget);
        }
        Flow::Continue(())
    }
}

/// What was said so far.
struct Told {
    quiet: bool,
    state: LineState,
    shown_s: f64,
}

impl Told {
    fn on_terminal(&self) -> bool {
        !self.quiet && std::io::stderr().is_terminal()
    }

    fn show(&mut self, report: &BoardReport, time_s: f64, budget: &Budget) {
        self.shown_s = time_s;
        if report.state != self.state {
            self.wipe();
            self.state = report.state;
            let why = report.sentence.as_deref().unwrap_or("no answer");
            tell(&match report.state {
                LineState::Ready => format!("{time_s:.1} s: the board is back"),
                LineState::Refused => format!("{time_s:.1} s: not driven: {why}"),
                LineState::Gone | LineState::Asking => {
                    format!("{time_s:.1} s: the board is lost ({why}); looking for it")
                }
            });
        }
        if self.on_terminal() {
            let line = status_line(report, time_s, budget);
            // A line that cannot be shown is missed by nobody.
            let _ = write!(std::io::stderr(), "\r\x1b[K{line}");
        }
    }

    /// Clears the status line.
    fn wipe(&self) {
        if self.on_terminal() {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}

/// `12.5 s  sent 2500, skipped 0  warmest at 43 % of its limit  board 31.2 C 11.97 V 0.42 A`.
fn status_line(report: &BoardReport, time_s: f64, budget: &Budget) -> String {
    let room_c = budget.room_c();
    let nodes = budget.load().node_c.iter().zip(budget.bound_c());
    let warmest = nodes.map(|(now, bound)| (now - room_c) / (bound - room_c)).fold(0.0, f64::max);
    let mut line = format!(
        "{time_s:.1} s  sent {}, skipped {}  warmest at {:.0} % of what it may rise",
        report.sent,
        report.skipped,
        warmest * 100.0
    );
    if let Some(status) = &report.status {
        let figures =
            [(status.temperature_c, "C", 1), (status.supply_v, "V", 2), (status.supply_a, "A", 2)];
        line.push_str("  board");
        for (value, unit, digits) in figures {
            if let Some(value) = value {
                line.push_str(&format!(" {value:.digits$} {unit}"));
            }
        }
        if status.trips > 0 {
            line.push_str(&format!("  watchdog trips {}", status.trips));
        }
        if status.clamping {
            line.push_str("  held to its limits");
        }
        if status.too_hot {
            line.push_str("  too hot: off");
        }
    }
    line
}
