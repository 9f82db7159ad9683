//! What is driven: boards, or nothing in a dry run.

use coilscore::audio::capture::Settled;
use coilscore::budget::Duty;
use coilscore::preset::Display;
use coilscore::sink::board::BoardReport;
use coilscore::sink::{Sink, SinkError};

use super::super::Failure;
use super::Args;

/// The sink of a show.
pub(super) struct Driven {
    #[cfg(feature = "serial")]
    board: Option<coilscore::sink::board::Board>,
    #[cfg(feature = "serial")]
    ports: Vec<String>,
    /// Time that a frame spends on the line, s, of the slowest.
    pub(super) line_s: f64,
}

/// How the boards of a show stand, for whoever does not drive them.
pub(super) struct Boards {
    #[cfg(feature = "serial")]
    watch: Option<coilscore::sink::board::Watch>,
    #[cfg(feature = "serial")]
    ports: Vec<String>,
}

impl Boards {
    /// Once they are closed: those that have not said that they are off.
    pub(super) fn not_off(&self) -> Option<String> {
        #[cfg(feature = "serial")]
        return super::super::driving::not_off(self.watch.as_ref()?, &self.ports);
        #[cfg(not(feature = "serial"))]
        None
    }

    /// How they stand; `None` in a dry run.
    pub(super) fn report(&self) -> Option<BoardReport> {
        #[cfg(feature = "serial")]
        return self.watch.as_ref().map(|watch| watch.report());
        #[cfg(not(feature = "serial"))]
        None
    }
}

#[cfg(feature = "serial")]
impl Driven {
    /// Opens the boards and waits until they are ready; nothing in a dry run.
    pub(super) fn open(args: &Args, display: &Display, sound: &Settled) -> Result<Self, Failure> {
        use super::super::driving::{Stop, greet};
        use coilscore::frame::wire::line::seconds;
        use coilscore::preset::board_settings;

        let mut settings = board_settings(display, args.rate).map_err(Failure::refused)?;
        settings.baud = args.baud.or(settings.baud);
        if sound.granted > 0 {
            let block_s = f64::from(sound.granted) / f64::from(sound.format.rate_hz);
            settings.block_s = Some(block_s);
        }
        let baud = f64::from(settings.baud.unwrap_or(0));
        let each = settings.boards.iter().map(|board| settings.packet_bytes(board));
        let longest = each.max().unwrap_or(0);
        let line_s = if baud > 0.0 { seconds(baud, longest) } else { 0.0 };
        let board = match args.dry_run {
            true => None,
            false => Some(greet(&settings, &args.port, &Stop::new()?, false)?),
        };
        Ok(Self { board, ports: args.port.clone(), line_s })
    }

    /// For looking on.
    pub(super) fn boards(&self) -> Boards {
        Boards { watch: self.board.as_ref().map(|board| board.watch()), ports: self.ports.clone() }
    }

    fn sink(&mut self) -> Option<&mut dyn Sink> {
        self.board.as_mut().map(|board| board as &mut dyn Sink)
    }
}

#[cfg(not(feature = "serial"))]
impl Driven {
    /// Nothing can be driven by this build.
    pub(super) fn open(args: &Args, _: &Display, _: &Settled) -> Result<Self, Failure> {
        if !args.dry_run {
            let text = "this build has no serial lines (feature 'serial'): use --dry-run";
            return Err(Failure::Refused(text.into()));
        }
        Ok(Self { line_s: 0.0 })
    }

    /// For looking on.
    pub(super) fn boards(&self) -> Boards {
        Boards {}
    }

    fn sink(&mut self) -> Option<&mut dyn Sink> {
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
