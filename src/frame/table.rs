//! Duties as a table for spreadsheets and scripts: comma-separated values (RFC 4180, but with a
//! plain line feed at the end of each line).
//!
//! | column | what | example |
//! | --- | --- | --- |
//! | `frame` | number of the frame, from 0 | `1200` |
//! | `time_s` | when it is due on the sound's own clock, s, to the nearest microsecond | `6.000000` |
//! | one for each coil, display order | duty, -1 to 1; 1 is the driver's full duty | `0.5001` |
//!
//! A duty is written as shortly as it can be and still say which compare value it was: times the
//! driver's steps, rounded to the nearest whole number, it is that value again. It is never coarser
//! than four decimals. The decimal sign is a point. A table of codes has the same columns, with the
//! compare values themselves in place of duties.

use std::io::{self, Write};

use thiserror::Error;

use super::pack::count;
use super::{CoilRun, RecordedCode, Values};
use crate::budget::Duty;
use crate::units::Rate;

/// Why a table was not begun, or a row not written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TableError {
    /// The file or pipe under it.
    #[error("cannot write the table: {0}")]
    Io(#[from] io::Error),
    /// Not as many values as there are coils.
    #[error("{got} {what} for a table of {coils} coils")]
    Coils {
        /// Of what.
        what: &'static str,
        /// How many came.
        got: usize,
        /// Columns.
        coils: u64,
    },
    /// A WAV file of frames that are no whole number a second.
    #[error(
        "a WAV file states its rate as a whole number, and {num}/{den} frames a second is none: \
         choose .npy or .csv, or render at a whole rate"
    )]
    WaveRate {
        /// Frames ...
        num: u32,
        /// ... in so many seconds.
        den: u32,
    },
    /// A WAV file of more coils than one can hold.
    #[error(
        "a WAV file holds at most {most} channels of this kind, not {coils}: choose .npy or .csv"
    )]
    WaveCoils {
        /// How many there are.
        coils: u64,
        /// How many there may be.
        most: u16,
    },
    /// A WAV file is full.
    #[error(
        "a WAV file holds 4 GiB, which {coils} coils fill in {frames} frames, and there are more: \
         choose .npy or .csv"
    )]
    WaveFull {
        /// Channels.
        coils: u16,
        /// Frames that fit.
        frames: u64,
    },
}

/// Writes the table to anything that takes bytes. Takes no memory for a row once the longest has
/// passed.
#[derive(Debug)]
pub struct Table<W> {
    out: W,
    rate: Rate,
    steps: Box<[u16]>,
    line: String,
}

impl<W: Write> Table<W> {
    /// Writes the first line. With no names at all, columns are called `coil_0`, `coil_1`...
    ///
    /// # Errors
    ///
    /// Not one name for each coil, or the file under it.
    pub fn new(
        out: W,
        rate: Rate,
        coils: &[CoilRun],
        names: &[impl AsRef<str>],
    ) -> Result<Self, TableError> {
        Self::of(Values::Duties, out, rate, coils, names)
    }

    /// As [`new`](Self::new), of duties or of codes.
    ///
    /// # Errors
    ///
    /// As [`new`](Self::new).
    pub fn of(
        values: Values,
        out: W,
        rate: Rate,
        coils: &[CoilRun],
        names: &[impl AsRef<str>],
    ) -> Result<Self, TableError> {
        let total = count(coils);
        if !names.is_empty() && names.len() as u64 != total {
            return Err(TableError::Coils { what: "names", got: names.len(), coils: total });
        }
        let steps = values.divisors(coils);
        let mut line = String::from("frame,time_s");
        if names.is_empty() {
            (0..steps.len()).for_each(|coil| line.push_str(&format!(",coil_{coil}")));
        }
        for name in names {
            line.push(',');
            push_quoted(&mut line, name.as_ref());
        }
        let mut table = Self { out, rate, steps, line };
        table.end_line()?;
        Ok(table)
    }

    /// One frame as granted.
    ///
    /// # Errors
    ///
    /// Not one duty for each coil, or the file under it.
    pub fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), TableError> {
        self.codes(number, duties.len(), duties.iter().map(|duty| duty.code()))
    }

    /// One frame as recorded.
    ///
    /// # Errors
    ///
    /// As [`duty`](Self::duty).
    pub fn recorded(&mut self, number: u32, codes: &[RecordedCode]) -> Result<(), TableError> {
        self.codes(number, codes.len(), codes.iter().map(|code| code.0))
    }

    /// A row of zeros: all coils off from this frame on.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn off(&mut self, number: u32) -> Result<(), TableError> {
        let coils = self.steps.len();
        self.codes(number, coils, std::iter::repeat_n(0, coils))
    }

    /// Flushes and gives back what lies under it.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn finish(mut self) -> Result<W, TableError> {
        self.out.flush()?;
        Ok(self.out)
    }

    fn codes(
        &mut self,
        number: u32,
        got: usize,
        codes: impl Iterator<Item = i32>,
    ) -> Result<(), TableError> {
        if got != self.steps.len() {
            let coils = self.steps.len() as u64;
            return Err(TableError::Coils { what: "duties", got, coils });
        }
        self.line.clear();
        push_number(&mut self.line, number.into(), 1);
        self.line.push(',');
        push_time(&mut self.line, self.rate, number);
        for (code, &steps) in codes.zip(&self.steps) {
            self.line.push(',');
            push_duty(&mut self.line, code, steps);
        }
        self.end_line()
    }

    fn end_line(&mut self) -> Result<(), TableError> {
        self.line.push('\n');
        self.out.write_all(self.line.as_bytes())?;
        Ok(())
    }
}

impl Values {
    /// Per coil, display order: what its code is divided by.
    pub(super) fn divisors(self, coils: &[CoilRun]) -> Box<[u16]> {
        let divisor = |run: &CoilRun| match self {
            Self::Duties => run.steps,
            Self::Codes => 1,
        };
        let each = coils.iter().map(|run| std::iter::repeat_n(divisor(run), run.count as usize));
        each.flatten().collect()
    }
}

/// RFC 4180: quotes around a field that holds a comma, a quote or a line break; quotes doubled.
pub(super) fn push_quoted(line: &mut String, field: &str) {
    if field.contains([',', '"', '\r', '\n']) {
        line.push('"');
        line.push_str(&field.replace('"', "\"\""));
        line.push('"');
    } else {
        line.push_str(field);
    }
}

/// Seconds with six decimals, from whole numbers only: no time drifts, however long the song.
pub(super) fn push_time(line: &mut String, rate: Rate, number: u32) {
    let (num, den) = rate.ratio();
    let scaled = u128::from(number) * u128::from(den) * 1_000_000;
    let micros = (2 * scaled + u128::from(num)) / (2 * u128::from(num));
    let micros = u64::try_from(micros).unwrap_or(u64::MAX);
    push_number(line, micros / 1_000_000, 1);
    line.push('.');
    push_number(line, micros % 1_000_000, 6);
}

/// Digits after the point beyond which a duty is cut short as soon as it reads back.
const FEWEST_DIGITS: u32 = 4;

/// `code`/`steps` as the shortest text that is exact, or has four decimals or more and reads back.
fn push_duty(line: &mut String, code: i32, steps: u16) {
    let (size, steps) = (u64::from(code.unsigned_abs()), u64::from(steps.max(1)));
    let mut scale = 1;
    let mut digits = 0;
    let mut nearest = size / steps;
    // Ends at the fifth digit at the latest: 10^5 is more than 65535 steps.
    loop {
        let error = (nearest * steps).abs_diff(size * scale);
        if error == 0 || (digits >= FEWEST_DIGITS && 2 * error < scale) {
            break;
        }
        scale *= 10;
        digits += 1;
        nearest = (2 * size * scale + steps) / (2 * steps);
    }
    while digits > 0 && nearest % 10 == 0 {
        nearest /= 10;
        scale /= 10;
        digits -= 1;
    }
    if code < 0 {
        line.push('-');
    }
    push_number(line, nearest / scale, 1);
    if digits > 0 {
        line.push('.');
        push_number(line, nearest % scale, digits);
    }
}

/// At least `digits` digits.
pub(super) fn push_number(line: &mut String, number: u64, digits: u32) {
    let mut power = 1_u64;
    let mut left = 1;
    while left < digits || number / power >= 10 {
        power *= 10;
        left += 1;
    }
    while power > 0 {
        let digit = u8::try_from(number / power % 10).unwrap_or(0);
        line.push(char::from(b'0' + digit));
        power /= 10;
    }
}

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn duty(code: i32, steps: u16) -> String {
        let mut line = String::new();
        push_duty(&mut line, code, steps);
        line
    }

    fn time(rate: &str, number: u32) -> String {
        let mut line = String::new();
        push_time(&mut line, rate.parse().unwrap(), number);
        line
    }

    #[test]
    fn a_table_reads_as_described() {
        let coils = [
            CoilRun { count: 2, steps: 4095, two_way: false },
            CoilRun { count: 1, steps: 1000, two_way: true },
        ];
        let names = ["left", "wide, low", "the \"big\" one"];
        let mut table = Table::new(Vec::new(), "59.94".parse().unwrap(), &coils, &names).unwrap();
        table.recorded(0, &[RecordedCode(0), RecordedCode(4095), RecordedCode(-250)]).unwrap();
        table.recorded(1, &[RecordedCode(1), RecordedCode(2048), RecordedCode(1)]).unwrap();
        table.off(2).unwrap();
        assert!(table.recorded(3, &[RecordedCode(0)]).is_err());
        let text = String::from_utf8(table.finish().unwrap()).unwrap();
        let expected = "frame,time_s,left,\"wide, low\",\"the \"\"big\"\" one\"\n\
                        0,0.000000,0,1,-0.25\n\
                        1,0.016683,0.0002,0.5001,0.001\n\
                        2,0.033367,0,0,0\n";
        assert_eq!(text, expected);
    }

    #[test]
    fn codes_are_whole_numbers_whatever_the_steps() {
        let coils = [CoilRun { count: 3, steps: 4095, two_way: true }];
        let rate = Rate::new(200, 1).unwrap();
        let none = &[] as &[&str];
        let mut table = Table::of(Values::Codes, Vec::new(), rate, &coils, none).unwrap();
        table.recorded(7, &[RecordedCode(-4095), RecordedCode(0), RecordedCode(1200)]).unwrap();
        let text = String::from_utf8(table.finish().unwrap()).unwrap();
        assert_eq!(text.lines().nth(1).unwrap(), "7,0.035000,-4095,0,1200");
    }

    #[test]
    fn coils_without_names_are_numbered_and_too_few_names_refused() {
        let coils = [CoilRun { count: 2, steps: 10, two_way: false }];
        let rate = Rate::new(200, 1).unwrap();
        let table = Table::new(Vec::new(), rate, &coils, &[] as &[&str]).unwrap();
        assert_eq!(table.finish().unwrap(), b"frame,time_s,coil_0,coil_1\n");
        assert!(Table::new(Vec::new(), rate, &coils, &["one"]).is_err());
    }

    #[test]
    fn times_are_the_nearest_microsecond_after_years() {
        // By hand: number * 1001 / 60000 and number / 200.
        assert_eq!(time("60000/1001", 60_000), "1001.000000");
        assert_eq!(time("60000/1001", 1), "0.016683");
        assert_eq!(time("60000/1001", 2), "0.033367");
        assert_eq!(time("200", u32::MAX), "21474836.475000");
    }

    #[test]
    fn every_code_of_every_driver_reads_back() {
        for steps in [1, 2, 3, 6, 7, 254, 255, 256, 1000, 4095, 32767, 65534, 65535] {
            for code in 0..=i32::from(steps) {
                let text = duty(code, steps);
                let value: f64 = text.parse().unwrap();
                let read = (value * f64::from(steps)).round() as i32;
                assert_eq!(read, code, "{text} of {steps} steps");
                let exact = f64::from(code) / f64::from(steps);
                assert!((value - exact).abs() <= 0.500001e-4, "{text} for {exact}");
                assert!(text.len() <= 7, "{text} is long");
            }
        }
        assert_eq!(duty(-1, 3), "-0.3333");
        assert_eq!(duty(1, 2), "0.5");
    }

    proptest! {
        #[test]
        fn two_way_codes_differ_by_their_sign_only(steps in 1_u16..=32767, raw in any::<u16>()) {
            let code = i32::from(raw % steps) + 1;
            prop_assert_eq!(duty(-code, steps), format!("-{}", duty(code, steps)));
        }
    }
}
