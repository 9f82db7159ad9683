//! The board's coils as one line of text.
//!
//! A coil is a pair of marks: how strong, as a digit of tenths (`-` for off, `*` for full), and
//! which way, `'` for backwards. What happened since the last line is told above it.

use std::io::{self, Write};

use super::board::{Seen, SimBoard};

/// Tells what happened, and writes the line over the one before where that is a terminal.
pub fn line(
    out: &mut dyn Write,
    board: &mut SimBoard,
    steps: u16,
    terminal: bool,
) -> io::Result<()> {
    let clear = if terminal { "\r\x1b[K" } else { "" };
    for seen in std::mem::take(&mut board.seen) {
        match seen {
            Seen::Hello { verdict, at_s } => {
                writeln!(out, "{clear}{at_s:8.2} s  HELLO: {verdict:?}")?
            }
            Seen::Off { frame, at_s } => {
                writeln!(out, "{clear}{at_s:8.2} s  OFF from frame {frame}")?
            }
            Seen::Trip { at_s } => {
                writeln!(out, "{clear}{at_s:8.2} s  watchdog: no frames, all off")?;
            }
            Seen::Stored { taken } => {
                let what = if taken { "stored" } else { "refused" };
                writeln!(out, "{clear}            LIMITS {what}")?;
            }
            Seen::Duty { .. } => {}
        }
    }
    if !terminal {
        return out.flush();
    }
    let status = board.status();
    let coils: Vec<String> = board.codes().iter().map(|code| coil(*code, steps)).collect();
    write!(
        out,
        "{clear}{}  {:.1} C {:.2} V  taken {} missed {} dropped {} damaged {} held {} trips {}",
        coils.join(""),
        status.temperature_c.unwrap_or(f64::NAN),
        status.supply_v.unwrap_or(f64::NAN),
        status.taken,
        status.missed,
        status.dropped,
        status.damaged,
        status.clamped,
        status.trips,
    )?;
    out.flush()
}

fn coil(code: i32, steps: u16) -> String {
    let tenths = code.unsigned_abs() * 10 / u32::from(steps);
    let size = match (code, tenths) {
        (0, _) => "-".to_owned(),
        (_, 10..) => "*".to_owned(),
        (_, tenths) => tenths.to_string(),
    };
    format!("{size}{}", if code < 0 { "'" } else { " " })
}
