//! What is driven while tuning: boards, or nothing.

use coilscore::budget::Duty;
use coilscore::preset::Display;
use coilscore::run::tune::BoardLook;
use coilscore::sink::{Sink, SinkError};

use super::super::Failure;
use super::Args;

/// The sink of a page.
pub(super) struct Driven {
    #[cfg(feature = "serial")]
    board: Option<coilscore::sink::board::Board>,
    #[cfg(feature = "serial")]
    ports: Vec<String>,
}

/// How the boards stand, for whoever does not drive them.
pub(super) struct Boards {
    #[cfg(feature = "serial")]
    watch: Option<coilscore::sink::board::Watch>,
    #[cfg(feature = "serial")]
    ports: Vec<String>,
}

#[cfg(feature = "serial")]
impl Driven {
    /// Opens the boards and waits until they are ready; nothing without a port.
    pub(super) fn open(args: &Args, display: &Display) -> Result<Self, Failure> {
        use super::super::driving::{Stop, greet};
        use coilscore::preset::board_settings;

        if args.port.is_empty() {
            return Ok(Self { board: None, ports: vec![] });
        }
        let mut settings = board_settings(display, args.rate).map_err(Failure::refused)?;
        settings.baud = args.baud.or(settings.baud);
        let board = greet(&settings, &args.port, &Stop::new()?, false)?;
        Ok(Self { board: Some(board), ports: args.port.clone() })
    }

    /// Whether anything is driven.
    pub(super) fn drives(&self) -> bool {
        self.board.is_some()
    }

    /// For looking on.
    pub(super) fn boards(&self) -> Boards {
        Boards { watch: self.board.as_ref().map(|board| board.watch()), ports: self.ports.clone() }
    }

    fn sink(&mut self) -> Option<&mut dyn Sink> {
        self.board.as_mut().map(|board| board as &mut dyn Sink)
    }
}

#[cfg(feature = "serial")]
impl Boards {
    /// Once they are closed: those that have not said that they are off.
    pub(super) fn not_off(&self) -> Option<String> {
        super::super::driving::not_off(self.watch.as_ref()?, &self.ports)
    }

    /// How they stand; `None` when nothing is driven.
    pub(super) fn look(&self) -> Option<BoardLook> {
        use coilscore::sink::board::LineState;

        let report = self.watch.as_ref()?.report();
        let state = match report.state {
            LineState::Ready => "ready",
            LineState::Asking => "no answer yet",
            LineState::Gone => "gone",
            LineState::Refused => "does not fit the display",
        };
        let sentence = report.sentence.as_deref().map(str::to_owned);
        let temperature_c = report.status.as_ref().and_then(|status| status.temperature_c);
        Some(BoardLook {
            state: state.into(),
            sentence,
            sent: report.sent,
            skipped: report.skipped,
            abandoned: report.abandoned,
            temperature_c,
        })
    }
}

#[cfg(not(feature = "serial"))]
impl Driven {
    /// Nothing can be driven by this build.
    pub(super) fn open(args: &Args, _: &Display) -> Result<Self, Failure> {
        if !args.port.is_empty() {
            let text = "this build has no serial lines (feature 'serial'): leave out --port";
            return Err(Failure::Refused(text.into()));
        }
        Ok(Self {})
    }

    /// Whether anything is driven.
    pub(super) fn drives(&self) -> bool {
        false
    }

    /// For looking on.
    pub(super) fn boards(&self) -> Boards {
        Boards {}
    }

    fn sink(&mut self) -> Option<&mut dyn Sink> {
        None
    }
}

#[cfg(not(feature = "serial"))]
impl Boards {
    /// Nothing was driven.
    pub(super) fn not_off(&self) -> Option<String> {
        None
    }

    /// Nothing is driven.
    pub(super) fn look(&self) -> Option<BoardLook> {
        None
    }
}

impl Sink for Driven {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        self.sink().map_or(Ok(()), |sink| sink.duty(number, duties))
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.sink().map_or(Ok(()), |sink| sink.off(number))
    }
}
