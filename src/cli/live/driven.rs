//! What is driven: boards, or nothing in a dry run.

use std::sync::mpsc::SyncSender;
#[cfg(feature = "serial")]
use std::time::Duration;

use coilscore::audio::capture::Settled;
use coilscore::budget::Duty;
use coilscore::preset::Display;
#[cfg(feature = "serial")]
use coilscore::sink::board::Board;
use coilscore::sink::board::BoardReport;
use coilscore::sink::{Sink, SinkError};

use super::super::Failure;
use super::Args;

/// How long boards may take to answer.
#[cfg(feature = "serial")]
const ANSWER: Duration = Duration::from_secs(5);

/// The sink of a show. Tells how the boards stand once a second.
pub(super) struct Driven {
    #[cfg(feature = "serial")]
    board: Option<Board>,
    /// Time that a frame spends on the line, s, of the slowest.
    pub(super) line_s: f64,
    every: u32,
    told: Option<SyncSender<BoardReport>>,
}

impl Driven {
    /// Opens the boards and waits until they are ready; nothing in a dry run.
    #[cfg(feature = "serial")]
    pub(super) fn open(args: &Args, display: &Display, sound: &Settled) -> Result<Self, Failure> {
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
        let board = if args.dry_run {
            None
        } else {
            let board = Board::open(&settings, &args.port).map_err(Failure::refused)?;
            board.wait_ready(ANSWER).map_err(Failure::failed)?;
            Some(board)
        };
        Ok(Self { board, line_s, every: per_second(args), told: None })
    }

    /// Nothing can be driven by this build.
    #[cfg(not(feature = "serial"))]
    pub(super) fn open(args: &Args, _: &Display, _: &Settled) -> Result<Self, Failure> {
        if !args.dry_run {
            let text = "this build has no serial lines (feature 'serial'): use --dry-run";
            return Err(Failure::Refused(text.into()));
        }
        Ok(Self { line_s: 0.0, every: per_second(args), told: None })
    }

    /// Where to tell how the boards stand.
    pub(super) fn tell(&mut self, told: SyncSender<BoardReport>) {
        self.told = Some(told);
    }

    /// How the boards stand; `None` in a dry run.
    pub(super) fn report(&self) -> Option<BoardReport> {
        #[cfg(feature = "serial")]
        return self.board.as_ref().map(Board::report);
        #[cfg(not(feature = "serial"))]
        None
    }

    #[cfg(feature = "serial")]
    fn sink(&mut self) -> Option<&mut dyn Sink> {
        self.board.as_mut().map(|board| board as &mut dyn Sink)
    }

    #[cfg(not(feature = "serial"))]
    fn sink(&mut self) -> Option<&mut dyn Sink> {
        None
    }
}

fn per_second(args: &Args) -> u32 {
    let (num, den) = args.rate.ratio();
    (num / den.max(1)).max(1)
}

impl Sink for Driven {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        let sent = self.sink().map_or(Ok(()), |sink| sink.duty(number, duties));
        if number.is_multiple_of(self.every)
            && let (Some(told), Some(report)) = (&self.told, self.report())
        {
            // Who does not take them in time misses some.
            let _ = told.try_send(report);
        }
        sent
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        self.sink().map_or(Ok(()), |sink| sink.off(number))
    }
}
