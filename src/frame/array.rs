//! Duties as an array: a `.npy` file, version 1.0 of the open format that `NumPy` describes
//! (`NumPy` Enhancement Proposal 1, "A Simple File Format for `NumPy` Arrays").
//!
//! One row for each frame, one column for each coil in display order, row after row, low byte
//! first. Duties are single precision (`<f4`), -1 to 1: times the driver's steps, rounded, each is
//! its code again. Codes are 32-bit whole numbers (`<i4`).
//!
//! Row k is frame k, so a frame that is not there needs a row all the same: see
//! [`off`](Array::off).

use std::io::{Seek, SeekFrom, Write};

use super::table::TableError;
use super::{CoilRun, RecordedCode, Values};

/// Magic and version.
const FIRST: [u8; 8] = *b"\x93NUMPY\x01\x00";

/// Bytes of the header after the first ten: room for any number of frames and coils.
const REST: u16 = 118;

/// Bytes before the first row; the format asks for a multiple of 64.
const HEADER: usize = FIRST.len() + 2 + REST as usize;

/// Writes the array to anything that takes bytes and can go back to its beginning. Takes no memory
/// for a row.
#[derive(Debug)]
pub struct Array<W> {
    out: W,
    values: Values,
    divisors: Box<[u16]>,
    row: Vec<u8>,
    rows: u64,
}

impl<W: Write + Seek> Array<W> {
    /// Begins the array of these coils at the beginning of `out`.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn new(out: W, values: Values, coils: &[CoilRun]) -> Result<Self, TableError> {
        let divisors = values.divisors(coils);
        let row = Vec::with_capacity(4 * divisors.len());
        let mut array = Self { out, values, divisors, row, rows: 0 };
        array.out.write_all(&array.header())?;
        Ok(array)
    }

    /// The next frame, as recorded.
    ///
    /// # Errors
    ///
    /// Not one code for each coil, or the file under it.
    pub fn recorded(&mut self, codes: &[RecordedCode]) -> Result<(), TableError> {
        if codes.len() != self.divisors.len() {
            let coils = self.divisors.len() as u64;
            return Err(TableError::Coils { what: "duties", got: codes.len(), coils });
        }
        self.row.clear();
        for (code, &divisor) in codes.iter().zip(&self.divisors) {
            let bytes = match self.values {
                Values::Duties => single(*code, divisor).to_le_bytes(),
                Values::Codes => code.0.to_le_bytes(),
            };
            self.row.extend_from_slice(&bytes);
        }
        self.end_row()
    }

    /// A row of zeros: all coils off in the next frame, or that frame is not there.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn off(&mut self) -> Result<(), TableError> {
        self.row.clear();
        self.row.resize(4 * self.divisors.len(), 0);
        self.end_row()
    }

    /// Writes how many rows there are where the header says it, and gives back what lies under it.
    ///
    /// # Errors
    ///
    /// The file under it.
    pub fn finish(mut self) -> Result<W, TableError> {
        self.out.seek(SeekFrom::Start(0))?;
        let header = self.header();
        self.out.write_all(&header)?;
        self.out.seek(SeekFrom::End(0))?;
        self.out.flush()?;
        Ok(self.out)
    }

    fn end_row(&mut self) -> Result<(), TableError> {
        self.out.write_all(&self.row)?;
        self.rows += 1;
        Ok(())
    }

    /// Always as long, so that it can be written again once the number of rows is known.
    fn header(&self) -> Vec<u8> {
        let kind = match self.values {
            Values::Duties => "<f4",
            Values::Codes => "<i4",
        };
        let shape = (self.rows, self.divisors.len());
        let text = format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape:?}, }}");
        let mut header = FIRST.to_vec();
        header.extend_from_slice(&REST.to_le_bytes());
        header.extend_from_slice(text.as_bytes());
        header.resize(HEADER - 1, b' ');
        header.push(b'\n');
        header
    }
}

/// The duty nearest to `code`/`divisor` that single precision has.
pub(super) fn single(code: RecordedCode, divisor: u16) -> f32 {
    // Both are whole numbers of at most 16 bits and a sign, which single precision holds.
    code.0 as f32 / f32::from(divisor.max(1))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests stop at the first surprise")]
mod tests {
    use std::io::Cursor;

    use super::*;

    /// By hand from the text of the format: magic, version, length of the header low byte first,
    /// a Python dictionary, spaces, a line feed; all of it a multiple of 64 bytes.
    #[test]
    fn the_bytes_are_those_of_the_format() {
        let coils = [CoilRun { count: 2, steps: 4, two_way: true }];
        let mut array = Array::new(Cursor::new(Vec::new()), Values::Duties, &coils).unwrap();
        array.recorded(&[RecordedCode(1), RecordedCode(-4)]).unwrap();
        array.off().unwrap();
        assert!(array.recorded(&[RecordedCode(0)]).is_err());
        let bytes = array.finish().unwrap().into_inner();
        assert_eq!(&bytes[..10], b"\x93NUMPY\x01\x00\x76\x00");
        let text = "{'descr': '<f4', 'fortran_order': False, 'shape': (2, 2), }";
        assert_eq!(bytes[10..128], *format!("{text:<117}\n").as_bytes());
        assert_eq!(bytes[128..136], [0, 0, 0x80, 0x3e, 0, 0, 0x80, 0xbf]);
        assert_eq!(bytes[136..], [0; 8]);
    }

    #[test]
    fn the_header_has_room_for_any_shape() {
        let coils = [CoilRun { count: 65_536, steps: 1, two_way: false }];
        let mut array = Array::new(Cursor::new(Vec::new()), Values::Codes, &coils).unwrap();
        array.rows = u64::MAX;
        let header = array.header();
        assert_eq!((header.len(), header[127]), (HEADER, b'\n'));
        assert!(String::from_utf8_lossy(&header).contains("(18446744073709551615, 65536), }"));
    }

    #[test]
    fn every_code_reads_back_from_single_precision() {
        for steps in [1_u16, 3, 7, 255, 4095, 32_767, 65_535] {
            for code in 0..=i32::from(steps) {
                let duty = f64::from(single(RecordedCode(code), steps));
                assert_eq!(format!("{:.0}", duty * f64::from(steps)), code.to_string());
            }
        }
    }
}
