//! Compare values to bytes and back.
//!
//! Coil after coil in the order of the packet, nothing between them:
//!
//! | [`Packing`] | codes | bytes |
//! | --- | --- | --- |
//! | `Byte` | 0 to 255 | one a coil |
//! | `Twelve` | 0 to 4095 | three for two coils, two for a last odd one |
//! | `Word` | 0 to 65535 | two a coil, low byte first |
//! | `SignedWord` | -32768 to 32767 | two a coil, low byte first, two's complement |
//!
//! `Twelve` in detail, for a first coil `a` and a second coil `b`:
//!
//! ```text
//! byte 0   a, its low 8 bits
//! byte 1   low nibble: a, its high 4 bits;  high nibble: b, its low 4 bits
//! byte 2   b, its high 8 bits
//! ```
//!
//! so 0x123 and 0x456 are the bytes `23 61 45`. When the number of coils is odd, the last coil has
//! bytes 0 and 1 to itself and the high nibble of byte 1 is 0.

use std::ops::RangeInclusive;

use thiserror::Error;

use super::{CoilRun, Packing, RecordedCode};
use crate::budget::Duty;

/// No packing holds these coils.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "no packing holds both codes below 0 and codes above 32767: give the coils with {steps} steps \
     at most 32767 steps, or put them on a display without two-way coils"
)]
pub struct NoPacking {
    /// The steps that are too many beside a two-way coil.
    pub steps: u16,
}

/// A code that its packing cannot carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("coil {coil}: code {code} is outside {lowest} to {highest}")]
pub struct PackError {
    /// Position in the packet, from 0.
    pub coil: usize,
    /// What it was asked to carry.
    pub code: i32,
    /// Lowest code it may carry.
    pub lowest: i32,
    /// Highest code it may carry.
    pub highest: i32,
}

/// Bytes that are no codes of these coils.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum UnpackError {
    /// Wrong number of bytes.
    #[error("{got} bytes of codes where the coils need {expected}")]
    Length {
        /// Bytes that came.
        got: usize,
        /// Bytes that the coils need.
        expected: usize,
    },
    /// A code its coil's driver does not know.
    #[error(transparent)]
    Code(#[from] PackError),
    /// The unused nibble after an odd last coil is not 0.
    #[error("the unused nibble after the last coil is not 0")]
    Padding,
}

impl CoilRun {
    /// The codes that a coil of this run can have.
    pub fn codes(&self) -> RangeInclusive<i32> {
        let steps = i32::from(self.steps);
        if self.two_way { -steps..=steps } else { 0..=steps }
    }
}

/// Number of coils in all runs.
pub(super) fn count(runs: &[CoilRun]) -> u64 {
    runs.iter().map(|run| u64::from(run.count)).sum()
}

impl Packing {
    /// The packing with the fewest bytes that holds every code of every coil.
    ///
    /// # Errors
    ///
    /// [`NoPacking`] when a two-way coil meets a coil of more than 32767 steps.
    pub fn narrowest(runs: &[CoilRun]) -> Result<Self, NoPacking> {
        let steps = runs.iter().map(|run| run.steps).max().unwrap_or(0);
        let two_way = runs.iter().any(|run| run.two_way);
        match (two_way, steps) {
            (false, ..=255) => Ok(Self::Byte),
            (false, ..=4095) => Ok(Self::Twelve),
            (false, _) => Ok(Self::Word),
            (true, ..=32767) => Ok(Self::SignedWord),
            (true, steps) => Err(NoPacking { steps }),
        }
    }

    /// The codes it can carry.
    pub fn codes(self) -> RangeInclusive<i32> {
        match self {
            Self::Byte => 0..=0xFF,
            Self::Twelve => 0..=0xFFF,
            Self::Word => 0..=0xFFFF,
            Self::SignedWord => -0x8000..=0x7FFF,
        }
    }

    /// Bytes that so many coils take.
    pub fn bytes(self, coils: usize) -> usize {
        match self {
            Self::Byte => coils,
            Self::Twelve => coils.saturating_mul(3).div_ceil(2),
            Self::Word | Self::SignedWord => coils.saturating_mul(2),
        }
    }

    /// Appends the duties to `out`. Takes no memory when `out` has room for
    /// [`bytes`](Self::bytes).
    ///
    /// # Errors
    ///
    /// The first duty that does not fit; `out` then holds a part that must not be sent.
    pub fn pack(self, duties: &[Duty], out: &mut Vec<u8>) -> Result<(), PackError> {
        self.pack_codes(duties.iter().map(|duty| duty.code()), out)
    }

    /// [`pack`](Self::pack) for codes that came from anywhere.
    pub(crate) fn pack_codes(
        self,
        codes: impl Iterator<Item = i32> + Clone,
        out: &mut Vec<u8>,
    ) -> Result<(), PackError> {
        within(0, codes.clone(), &self.codes())?;
        match self {
            Self::Byte => out.extend(codes.map(|code| {
                let [low, ..] = code.to_le_bytes();
                low
            })),
            Self::Twelve => pack_twelve(codes, out),
            Self::Word | Self::SignedWord => codes.for_each(|code| {
                let [low, high, ..] = code.to_le_bytes();
                out.extend_from_slice(&[low, high]);
            }),
        }
        Ok(())
    }

    /// Replaces `out` by the codes in `payload`, one for each coil of `runs`.
    ///
    /// # Errors
    ///
    /// When the bytes are not exactly those of so many coils, or a code is outside what its coil's
    /// run allows: the bytes are damaged or belong to another display. `out` is then empty.
    pub fn unpack(
        self,
        payload: &[u8],
        runs: &[CoilRun],
        out: &mut Vec<RecordedCode>,
    ) -> Result<(), UnpackError> {
        out.clear();
        let coils = usize::try_from(count(runs)).unwrap_or(usize::MAX);
        let expected = self.bytes(coils);
        if payload.len() != expected {
            return Err(UnpackError::Length { got: payload.len(), expected });
        }
        let words = payload.as_chunks().0.iter();
        let code = |code: i32| RecordedCode(code);
        match self {
            Self::Byte => out.extend(payload.iter().map(|&byte| code(byte.into()))),
            Self::Twelve => unpack_twelve(payload, out)?,
            Self::Word => out.extend(words.map(|&word| code(u16::from_le_bytes(word).into()))),
            Self::SignedWord => {
                out.extend(words.map(|&word| code(i16::from_le_bytes(word).into())));
            }
        }
        check_codes(out.iter().map(|code| code.0), runs).inspect_err(|_| out.clear())?;
        Ok(())
    }
}

fn pack_twelve(mut codes: impl Iterator<Item = i32>, out: &mut Vec<u8>) {
    while let Some(first) = codes.next() {
        let Some(second) = codes.next() else {
            let [low, middle, ..] = first.to_le_bytes();
            out.extend_from_slice(&[low, middle]);
            break;
        };
        let [low, middle, high, _] = (first | (second << 12)).to_le_bytes();
        out.extend_from_slice(&[low, middle, high]);
    }
}

fn unpack_twelve(payload: &[u8], out: &mut Vec<RecordedCode>) -> Result<(), UnpackError> {
    let (pairs, odd) = payload.as_chunks::<3>();
    for &[low, middle, high] in pairs {
        let both = i32::from_le_bytes([low, middle, high, 0]);
        out.extend_from_slice(&[RecordedCode(both & 0xFFF), RecordedCode(both >> 12)]);
    }
    if let &[low, middle] = odd {
        if middle >> 4 != 0 {
            out.clear();
            return Err(UnpackError::Padding);
        }
        out.push(RecordedCode(i32::from_le_bytes([low, middle, 0, 0])));
    }
    Ok(())
}

/// Checks codes, coil by coil, against what the coils can have.
pub(super) fn check_codes(
    mut codes: impl Iterator<Item = i32>,
    runs: &[CoilRun],
) -> Result<(), PackError> {
    let mut first = 0;
    for run in runs {
        let count = run.count as usize;
        within(first, codes.by_ref().take(count), &run.codes())?;
        first += count;
    }
    Ok(())
}

/// Checks codes against one range; the first of them is that of coil `first`.
fn within(
    first: usize,
    codes: impl Iterator<Item = i32>,
    range: &RangeInclusive<i32>,
) -> Result<(), PackError> {
    let (lowest, highest) = (*range.start(), *range.end());
    for (after, code) in codes.enumerate() {
        if code < lowest || code > highest {
            return Err(PackError { coil: first + after, code, lowest, highest });
        }
    }
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::*;

    fn run(count: usize, steps: u16, two_way: bool) -> [CoilRun; 1] {
        [CoilRun { count: u32::try_from(count).unwrap(), steps, two_way }]
    }

    fn packed(packing: Packing, codes: &[i32]) -> Vec<u8> {
        let mut out = Vec::new();
        packing.pack_codes(codes.iter().copied(), &mut out).unwrap();
        out
    }

    #[test]
    fn bytes_lie_as_documented() {
        assert_eq!(packed(Packing::Byte, &[0, 1, 255]), [0, 1, 255]);
        assert_eq!(packed(Packing::Twelve, &[0x123, 0x456]), [0x23, 0x61, 0x45]);
        assert_eq!(packed(Packing::Twelve, &[0, 0, 0xFED]), [0, 0, 0, 0xED, 0x0F]);
        assert_eq!(packed(Packing::Word, &[0x1234, 0xFFFF]), [0x34, 0x12, 0xFF, 0xFF]);
        assert_eq!(packed(Packing::SignedWord, &[-2, 0x7FFF]), [0xFE, 0xFF, 0xFF, 0x7F]);
    }

    #[test]
    fn the_narrowest_packing_holds_every_coil() {
        let of = |runs: &[(u16, bool)]| {
            let runs = runs.iter().map(|&(steps, two_way)| CoilRun { count: 3, steps, two_way });
            Packing::narrowest(&runs.collect::<Vec<_>>())
        };
        assert_eq!(of(&[(255, false), (1, false)]), Ok(Packing::Byte));
        assert_eq!(of(&[(255, false), (256, false)]), Ok(Packing::Twelve));
        assert_eq!(of(&[(4095, false)]), Ok(Packing::Twelve));
        assert_eq!(of(&[(4096, false)]), Ok(Packing::Word));
        assert_eq!(of(&[(10, true), (255, false)]), Ok(Packing::SignedWord));
        assert_eq!(of(&[(10, true), (40_000, false)]), Err(NoPacking { steps: 40_000 }));
    }

    #[test]
    fn what_does_not_fit_is_refused_both_ways() {
        let mut bytes = Vec::new();
        for packing in [Packing::Byte, Packing::Twelve, Packing::Word, Packing::SignedWord] {
            let (lowest, highest) = packing.codes().into_inner();
            for code in [lowest - 1, highest + 1] {
                let error = packing.pack_codes([0, 0, code].into_iter(), &mut bytes);
                assert_eq!(error, Err(PackError { coil: 2, code, lowest, highest }));
            }
        }
        let mut codes = Vec::new();
        let mut unpack = |payload: &[u8], count| {
            Packing::Twelve.unpack(payload, &run(count, 1000, false), &mut codes)
        };
        let steps = PackError { coil: 1, code: 1001, lowest: 0, highest: 1000 };
        assert_eq!(unpack(&packed(Packing::Twelve, &[1000, 1001]), 2), Err(steps.into()));
        assert_eq!(unpack(&[1, 0x10], 1), Err(UnpackError::Padding));
        assert_eq!(unpack(&[1, 0, 0], 1), Err(UnpackError::Length { got: 3, expected: 2 }));
    }

    proptest! {
        #[test]
        fn every_packing_gives_back_what_it_took(seed in vec(any::<u16>(), 0..70)) {
            for (packing, steps, two_way) in [
                (Packing::Byte, 255, false),
                (Packing::Twelve, 4095, false),
                (Packing::Word, 65535, false),
                (Packing::SignedWord, 32767, true),
            ] {
                let codes: Vec<i32> = seed
                    .iter()
                    .map(|&raw| {
                        let code = i32::from(raw) % (i32::from(steps) + 1);
                        if two_way && raw % 2 == 1 { -code } else { code }
                    })
                    .collect();
                let bytes = packed(packing, &codes);
                prop_assert_eq!(bytes.len(), packing.bytes(codes.len()));
                let mut back = Vec::new();
                packing.unpack(&bytes, &run(codes.len(), steps, two_way), &mut back).unwrap();
                prop_assert_eq!(back.iter().map(|code| code.0).collect::<Vec<_>>(), codes);
            }
        }
    }
}
