//! A pseudo-terminal with a board at its far end.

use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use serialport::{SerialPort, TTYPort};

use super::board::SimBoard;

/// How often time passes for the board.
const STEP: Duration = Duration::from_millis(1);

/// A pseudo-terminal that stays when the host closes its end.
pub struct Pty {
    board_end: TTYPort,
    host_end: TTYPort,
}

impl Pty {
    pub fn new() -> io::Result<Self> {
        let (board_end, host_end) = TTYPort::pair()?;
        Ok(Self { board_end, host_end })
    }

    /// What the host opens.
    pub fn path(&self) -> String {
        self.host_end.name().unwrap_or_default()
    }

    /// Puts a name of its own to it, which a replugged one can take over.
    pub fn name(&self, link: &Path) -> io::Result<()> {
        match std::fs::remove_file(link) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        std::os::unix::fs::symlink(self.path(), link)
    }

    /// Reads what is there, up to the length of `bytes`; 0 when nothing comes for a moment.
    pub fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        self.board_end.set_timeout(STEP)?;
        match self.board_end.read(bytes) {
            Err(error) if is_slow(&error) => Ok(0),
            other => other,
        }
    }

    /// Writes; what nobody fetches is lost, as on a wire.
    pub fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        if bytes.is_empty() {
            return Ok(());
        }
        match self.board_end.write(bytes) {
            Err(error) if is_slow(&error) => Ok(()),
            other => other.map(drop),
        }
    }
}

fn is_slow(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

/// Lets the board live on the pseudo-terminal until `stop`. A pseudo-terminal has no speed of its
/// own: with `baud`, no more is fetched than a line of that speed carries.
pub fn serve(
    board: &Mutex<SimBoard>,
    pty: &mut Pty,
    (start, baud): (Instant, Option<u32>),
    stop: &AtomicBool,
) -> io::Result<()> {
    let mut bytes = [0; 4096];
    let (mut room, mut last) = (0.0, Instant::now());
    while !stop.load(Ordering::Relaxed) {
        if let Some(baud) = baud {
            // A short burst at most, as in the buffer of a chip.
            room = (room + last.elapsed().as_secs_f64() * f64::from(baud) / 10.0).min(256.0);
            last = Instant::now();
        } else {
            room = bytes.len() as f64;
        }
        let frozen = board.lock().unwrap_or_else(std::sync::PoisonError::into_inner).frozen;
        let most = if frozen { 0 } else { room as usize };
        let count = if most > 0 { pty.read(&mut bytes[..most])? } else { 0 };
        if most == 0 {
            std::thread::sleep(STEP);
        }
        room -= count as f64;
        let out = {
            let mut board = board.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            // What has come has come in time, however late this thread may be.
            let now_s = start.elapsed().as_secs_f64();
            board.hear_at(&bytes[..count], now_s);
            board.pass(now_s);
            board.take_out()
        };
        pty.write(&out)?;
    }
    Ok(())
}
