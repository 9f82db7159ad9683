//! LIMITS: what a board is to let through at most, kept in its flash.
//!
//! Sent only when the maker asks for it, and taken only while all coils are off. The board answers
//! with a HELLO. Frame number 0; low byte first:
//!
//! ```text
//! offset  size  what
//! 0       2     window of the mean, s: time constant of the board's running means
//! 2       2     n: number of channels
//! 4       4 n   per channel: largest code, largest mean code over the window (u16 each)
//! ```

use thiserror::Error;

use super::fields::Fields;
use super::hello::Hello;

/// What one channel may do. Sizes of codes, whatever their sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Limit {
    /// Largest code.
    pub most: u16,
    /// Largest mean code over the window.
    pub mean_most: u16,
}

impl Limit {
    /// A channel that stays off.
    pub const OFF: Self = Self { most: 0, mean_most: 0 };
}

/// A LIMITS payload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Time constant of the running means, s.
    pub window_s: u16,
    /// One for each channel.
    pub limits: Vec<Limit>,
}

/// Bytes that are no LIMITS.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("a LIMITS packet with {0} bytes does not hold the limits that it promises")]
pub struct LimitsError(pub usize);

impl Limits {
    /// Reads a payload, whatever it is.
    ///
    /// # Errors
    ///
    /// When it is shorter than it says.
    pub fn read(payload: &[u8]) -> Result<Self, LimitsError> {
        let mut fields = Fields(payload);
        let mut read = || {
            let (window_s, count) = (fields.u16()?, fields.u16()?);
            Some(Self { window_s, limits: read_limits(&mut fields, count)? })
        };
        read().ok_or(LimitsError(payload.len()))
    }

    /// Whether a board's answer says that it lets through no more than this.
    pub fn are_in_force(&self, answer: &Hello) -> bool {
        let mut pairs = answer.limits.iter().zip(&self.limits);
        answer.window_s == self.window_s
            && answer.limits.len() == self.limits.len()
            && pairs.all(|(has, sent)| has.most <= sent.most && has.mean_most <= sent.mean_most)
    }

    /// Appends the payload to `out`.
    pub fn write(&self, out: &mut Vec<u8>) {
        write_limits(self.window_s, &self.limits, out);
    }
}

pub(super) fn read_limits(fields: &mut Fields<'_>, count: u16) -> Option<Vec<Limit>> {
    // Bytes that cannot be there take no memory.
    if fields.0.len() < 4 * usize::from(count) {
        return None;
    }
    let limit = |_| Some(Limit { most: fields.u16()?, mean_most: fields.u16()? });
    (0..count).map(limit).collect()
}

/// Window, number, limits: how HELLO ends and LIMITS is.
pub(super) fn write_limits(window_s: u16, limits: &[Limit], out: &mut Vec<u8>) {
    let count = u16::try_from(limits.len()).unwrap_or(u16::MAX);
    out.extend_from_slice(&window_s.to_le_bytes());
    out.extend_from_slice(&count.to_le_bytes());
    for limit in limits.iter().take(count.into()) {
        out.extend_from_slice(&limit.most.to_le_bytes());
        out.extend_from_slice(&limit.mean_most.to_le_bytes());
    }
}
