//! Readings typed from two meters and a clock.

use coilscore::shown::Shown as _;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, Write};
use std::path::Path;

use super::super::{Failure, tell};
use super::report::CAUTIONS;

const HEADER: &str = "time_s,voltage_v,current_a";

const HOW: &str = "\
Type one reading a line: time, volts, amps; time in seconds or as minutes:seconds.
  1. Coil cold: with a small current (a tenth of the drive's), three readings or more.
  2. Switch the drive on and leave it. Read every 2 to 5 s for half a minute, then every 10 s, then
     every minute, until the winding gains less than 0.2 K in five minutes.
  3. Back to the small current. Read in the same way while it cools, half as long at least.
Then type end. Type stop to leave without a fit; what --save names keeps every line.";

/// Reads lines from standard input until `end` or their end. Returns the log and its name; nothing
/// when it was stopped.
pub(super) fn readings(save: Option<&Path>) -> Result<Option<(String, String)>, Failure> {
    tell(CAUTIONS);
    tell(HOW);
    let (mut text, mut file) = begin(save)?;
    let name = save.map_or_else(|| "readings by hand".to_owned(), |path| path.shown());
    let failed = |error: std::io::Error| Failure::Failed(format!("{name}: {error}"));
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(|error| Failure::Failed(format!("standard input: {error}")))?;
        let line = line.trim();
        match line {
            "" => continue,
            "end" => break,
            "stop" => {
                if save.is_some() {
                    tell(&format!("kept in {name}; --by-hand --save {name} goes on with it"));
                }
                return Ok(None);
            }
            _ => {}
        }
        match reading(line) {
            Some([time_s, volts, amps]) => {
                let row = format!("{time_s},{volts},{amps}\n");
                if let Some(file) = &mut file {
                    file.write_all(row.as_bytes())
                        .and_then(|()| file.sync_data())
                        .map_err(failed)?;
                }
                text += &row;
                if amps != 0.0 {
                    let (watts, ohms) = (volts * amps, volts / amps);
                    tell(&format!("{time_s} s: {ohms:.4} ohm, {watts:.3} W"));
                }
            }
            None => tell(&format!(
                "'{line}' is no reading: write time, volts and amps, as 12.5 7.98 0.743 or 1:05 7.98 0.743"
            )),
        }
    }
    Ok(Some((text, name)))
}

/// The log so far and the file that goes on with it.
fn begin(save: Option<&Path>) -> Result<(String, Option<File>), Failure> {
    let Some(path) = save else { return Ok((format!("{HEADER}\n"), None)) };
    let failed = |error: std::io::Error| Failure::Failed(format!("{}: {error}", path.shown()));
    let mut file =
        OpenOptions::new().create(true).append(true).read(true).open(path).map_err(failed)?;
    let mut text = super::read(path)?;
    if text.is_empty() {
        text = format!("{HEADER}\n");
        file.write_all(text.as_bytes()).map_err(failed)?;
    } else if text.lines().next() != Some(HEADER) {
        return Err(Failure::Refused(format!(
            "{} begins with other columns than {HEADER}: save to another file",
            path.shown()
        )));
    } else {
        tell(&format!("{}: {} readings so far", path.shown(), text.lines().count() - 1));
        if !text.ends_with('\n') {
            file.write_all(b"\n").map_err(failed)?;
            text.push('\n');
        }
    }
    Ok((text, Some(file)))
}

/// Three numbers, set apart by spaces or semicolons; a comma is a decimal sign.
fn reading(line: &str) -> Option<[f64; 3]> {
    let parts = line.split(|c: char| c.is_whitespace() || c == ';');
    let parts: Vec<String> =
        parts.filter(|part| !part.is_empty()).map(|part| part.replace(',', ".")).collect();
    let [time, volts, amps] = parts.as_slice() else { return None };
    let number = |text: &str| text.parse().ok().filter(|value: &f64| value.is_finite());
    let time_s = match time.split_once(':') {
        Some((minutes, seconds)) => number(minutes)? * 60.0 + number(seconds)?,
        None => number(time)?,
    };
    Some([time_s, number(volts)?, number(amps)?])
}

#[cfg(test)]
mod tests {
    use super::reading;

    #[test]
    fn readings_as_people_write_them() {
        assert_eq!(reading("12.5 7.98 0.743"), Some([12.5, 7.98, 0.743]));
        assert_eq!(reading(" 1:05;7,98 ; 0,743"), Some([65.0, 7.98, 0.743]));
        for bad in ["12 3", "a b c", "1 2 3 4", "1 nan 2", "1:x 2 3"] {
            assert_eq!(reading(bad), None, "{bad}");
        }
    }
}
