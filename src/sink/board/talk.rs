//! A few words with one board, without driving it: what it is, and what it is to keep.
#![allow(clippy::disallowed_methods, reason = "waits for answers, up to a time")]

use std::io::{ErrorKind, Read, Write};
use std::time::{Duration, Instant};

use serialport::SerialPort;

use super::error::BoardError;
use super::writer::open_port;
use crate::frame::wire::hello::{Hello, LONGEST_HELLO, Role};
use crate::frame::wire::limits::Limits;
use crate::frame::wire::status::Status;
use crate::frame::wire::{DELIMITER, Decoder, Encoder, Kind};

/// Time after which a packet is sent again.
const AGAIN: Duration = Duration::from_millis(300);

/// A port with someone to talk to at the other end. All off when it is dropped.
pub struct Talk {
    name: String,
    baud: u32,
    port: Box<dyn SerialPort>,
    encoder: Encoder,
    decoder: Decoder,
    status: Option<Status>,
    means: Vec<u16>,
}

impl Talk {
    /// Opens the port and switches all off.
    ///
    /// # Errors
    ///
    /// [`BoardError::Open`].
    pub fn open(port: &str, baud: u32) -> Result<Self, BoardError> {
        let mut talk = Self {
            name: port.to_owned(),
            baud,
            port: open_port(port, baud)?,
            encoder: Encoder::new(LONGEST_HELLO),
            decoder: Decoder::new(2 * LONGEST_HELLO),
            status: None,
            means: Vec::new(),
        };
        talk.send(Kind::Off, &[])?;
        Ok(talk)
    }

    /// Says HELLO until the board answers. Whatever the answer is, it is an answer.
    ///
    /// # Errors
    ///
    /// [`BoardError::Silent`], [`BoardError::Refused`] for a HELLO that cannot be read, or
    /// [`BoardError::Open`] when the port fails.
    pub fn greet(&mut self, hello: &Hello, within: Duration) -> Result<Hello, BoardError> {
        let mut payload = Vec::new();
        hello.write(&mut payload);
        self.ask(Kind::Hello, &payload, within)
    }

    /// Has the board store limits; its answer says what is in force now. An answer without them may
    /// be one to an earlier question: another is waited for, and the last one counts.
    ///
    /// # Errors
    ///
    /// As [`greet`](Self::greet).
    pub fn store(&mut self, limits: &Limits, within: Duration) -> Result<Hello, BoardError> {
        let mut payload = Vec::new();
        limits.write(&mut payload);
        self.send(Kind::Off, &[])?;
        let until = Instant::now() + within;
        loop {
            let left = until.saturating_duration_since(Instant::now());
            match self.ask(Kind::Limits, &payload, left.max(AGAIN)) {
                Ok(answer) if !limits.are_in_force(&answer) && Instant::now() < until => {}
                other => return other,
            }
        }
    }

    /// Its next report, once it is greeted; `None` when none comes in time.
    ///
    /// # Errors
    ///
    /// [`BoardError::Open`] when the port fails.
    pub fn status(&mut self, within: Duration) -> Result<Option<Status>, BoardError> {
        self.status = None;
        let until = Instant::now() + within;
        while self.status.is_none() && Instant::now() < until {
            let _ = self.listen()?;
        }
        Ok(self.status)
    }

    fn ask(&mut self, kind: Kind, payload: &[u8], within: Duration) -> Result<Hello, BoardError> {
        let until = Instant::now() + within;
        let mut again = Instant::now();
        while Instant::now() < until {
            if Instant::now() >= again {
                self.send(kind, payload)?;
                again = Instant::now() + AGAIN;
            }
            if let Some(hello) = self.listen()? {
                return Ok(hello);
            }
        }
        let (port, seconds, baud) = (self.name.clone(), within.as_secs_f64(), self.baud);
        Err(BoardError::Silent { port, seconds, baud })
    }

    fn send(&mut self, kind: Kind, payload: &[u8]) -> Result<(), BoardError> {
        let mut bytes = vec![DELIMITER];
        bytes.extend_from_slice(self.encoder.packet(kind, 0, payload));
        match self.port.write_all(&bytes) {
            Err(error) if error.kind() != ErrorKind::TimedOut => Err(self.failed(error)),
            // It is sent again until there is an answer.
            _ => Ok(()),
        }
    }

    /// Reads for a moment. An answer to a HELLO, if one came; that of a board which nobody has
    /// greeted yet is none.
    fn listen(&mut self) -> Result<Option<Hello>, BoardError> {
        let mut bytes = [0; 1024];
        let count = match self.port.read(&mut bytes) {
            Ok(count) => count,
            Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => 0,
            Err(error) => return Err(self.failed(error)),
        };
        let mut answer = None;
        let mut rest = bytes.get(..count).unwrap_or_default();
        while let Some(event) = self.decoder.take(&mut rest) {
            let Ok(packet) = event else { continue };
            match packet.kind {
                Kind::Hello => {
                    let hello = Hello::read(packet.payload).map_err(|error| {
                        let (port, why) = (self.name.clone(), error.to_string());
                        BoardError::Refused { port, why }
                    })?;
                    let unasked = hello.verdict == crate::frame::wire::hello::Verdict::NoHello;
                    if hello.role == Role::Board && !unasked {
                        answer = Some(hello);
                    }
                }
                Kind::Status => self.status = Status::read(packet.payload, &mut self.means).ok(),
                _ => {}
            }
        }
        Ok(answer)
    }

    fn failed(&self, error: std::io::Error) -> BoardError {
        BoardError::Open { port: self.name.clone(), why: format!("the port failed ({error})") }
    }
}

impl Drop for Talk {
    fn drop(&mut self) {
        // Nobody is left to tell.
        let _ = self.send(Kind::Off, &[]);
    }
}
