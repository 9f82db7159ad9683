//! HELLO: both ends of a link introduce themselves before anything moves.
//!
//! The host says what it is about to send; the board answers what it has and whether that fits.
//! A board without a good HELLO obeys no DUTY. A good one leaves all coils off and lets frame
//! numbers begin anew. Frame number 0; whole numbers, low byte first:
//!
//! ```text
//! offset  size  what
//! 0       1     major version, 1
//! 1       1     minor version, 0; a higher one may add bytes at the end
//! 2       1     role: 1 host, 2 board
//! 3       1     verdict of the board; 0 from the host
//! 4       1     packing: 0 byte, 1 twelve, 2 word, 3 signed word
//! 5       1     flags: bit 0 two-way codes; of a board also: bit 1 knows its temperature,
//!               2 supply voltage, 3 supply current, 4 keeps limits in flash
//! 6       2     channels
//! 8       2     steps: compare value at full duty
//! 10      4     PWM, Hz; 0 not stated
//! 14      2     hold, ms: all off this long after the last good frame; the smaller one counts
//! 16      4     frame rate, numerator
//! 20      4     frame rate, denominator
//! 24      2     window of the mean, s; from the host 0: as it is
//! 26      2     n: 0, or as many as there are channels
//! 28      4 n   per channel: largest code, largest mean code over the window (u16 each)
//! ```
//!
//! | verdict | meaning |
//! | --- | --- |
//! | 0 | ready to be driven |
//! | 1 | other major version |
//! | 2 | other number of channels |
//! | 3 | other number of steps |
//! | 4 | other polarity |
//! | 5 | other packing |
//! | 6 | frames come more slowly than the board holds one |
//! | 7 | the HELLO was malformed |
//! | 8 | no HELLO yet: the board says so once a second after a reset |
//!
//! The limits of the host only tighten: the board takes the smaller of these and its own.

use thiserror::Error;

use super::fields::Fields;
use super::limits::{Limit, read_limits, write_limits};
use crate::frame::Packing;

/// Version that this crate speaks: major and minor.
pub const LINK: [u8; 2] = [1, 0];

/// Bytes before the limits.
const FIXED: usize = 28;

/// Most channels of a board: one packet carries them all.
pub const MOST_CHANNELS: u16 = 512;

/// Most bytes of a HELLO of this version.
pub const LONGEST_HELLO: usize = FIXED + 4 * MOST_CHANNELS as usize;

/// Whose HELLO it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The computer.
    Host,
    /// The driver board.
    Board,
}

/// What a board says to a HELLO.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It can be driven.
    Ready,
    /// It speaks another major version.
    Version,
    /// It has another number of channels.
    Channels,
    /// It has another number of steps.
    Steps,
    /// One pushes one way, the other both.
    Polarity,
    /// It takes codes in another packing.
    Packing,
    /// Frames would come more slowly than it holds one.
    Slow,
    /// It could not read the HELLO.
    Malformed,
    /// It has not been greeted since it started.
    NoHello,
    /// A number that this version does not know: not ready.
    Other(u8),
}

impl Verdict {
    const KNOWN: [Self; 9] = [
        Self::Ready,
        Self::Version,
        Self::Channels,
        Self::Steps,
        Self::Polarity,
        Self::Packing,
        Self::Slow,
        Self::Malformed,
        Self::NoHello,
    ];

    /// Its number.
    pub fn number(self) -> u8 {
        match self {
            Self::Other(number) => number,
            known => (0..).zip(Self::KNOWN).find(|(_, it)| *it == known).map_or(0, |(n, _)| n),
        }
    }

    /// The verdict with this number.
    pub fn from_number(number: u8) -> Self {
        Self::KNOWN.get(usize::from(number)).copied().unwrap_or(Self::Other(number))
    }
}

/// What a board can tell and keep.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Knows {
    /// Its temperature.
    pub temperature: bool,
    /// The voltage of its supply.
    pub supply_v: bool,
    /// The current of all its coils.
    pub supply_a: bool,
    /// Limits, over a reset.
    pub flash: bool,
}

/// Who one is: see the [module's table](self).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hello {
    /// Minor version; the major one is [`LINK`]'s.
    pub minor: u8,
    /// Whose it is.
    pub role: Role,
    /// The board's; [`Verdict::Ready`] from the host.
    pub verdict: Verdict,
    /// Host: what it will send. Board: what is in force, or the narrowest it wants.
    pub packing: Packing,
    /// Whether codes may be negative.
    pub two_way: bool,
    /// The board's abilities; none from the host.
    pub knows: Knows,
    /// Channels.
    pub channels: u16,
    /// Compare value at full duty.
    pub steps: u16,
    /// PWM frequency, Hz; 0 where it is not stated.
    pub pwm_hz: u32,
    /// All off this long after the last good frame, ms.
    pub hold_ms: u16,
    /// Frames per second, numerator and denominator.
    pub rate: [u32; 2],
    /// Time constant of the mean, s; 0 from the host leaves it as it is.
    pub window_s: u16,
    /// None, or one for each channel.
    pub limits: Vec<Limit>,
}

/// Bytes that are no HELLO of this version.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum HelloError {
    /// Another major version; nothing else can be read.
    #[error("it speaks version {0} of the link, this program speaks version 1")]
    Major(u8),
    /// Fewer bytes than a HELLO has.
    #[error("its HELLO has {0} bytes, too few")]
    Short(usize),
    /// No such role.
    #[error("its HELLO names role {0}, which there is not")]
    Role(u8),
    /// No such packing.
    #[error("its HELLO names packing {0}, which there is not")]
    Packing(u8),
    /// Limits for some channels only.
    #[error("its HELLO has limits for {limits} of {channels} channels")]
    Limits {
        /// Channels with limits.
        limits: u16,
        /// Channels.
        channels: u16,
    },
}

/// Packings by their numbers.
const PACKINGS: [Packing; 4] = [Packing::Byte, Packing::Twelve, Packing::Word, Packing::SignedWord];

impl Hello {
    /// Reads a payload, whatever it is.
    ///
    /// # Errors
    ///
    /// See [`HelloError`].
    pub fn read(payload: &[u8]) -> Result<Self, HelloError> {
        match payload.first() {
            Some(&major) if major != LINK[0] => return Err(HelloError::Major(major)),
            _ => {}
        }
        let short = HelloError::Short(payload.len());
        let mut fields = Fields(payload.get(1..).unwrap_or_default());
        let mut byte = || fields.u8().ok_or(short);
        let (minor, role, verdict, packing, flags) = (byte()?, byte()?, byte()?, byte()?, byte()?);
        let role = match role {
            1 => Role::Host,
            2 => Role::Board,
            other => return Err(HelloError::Role(other)),
        };
        let of_number = PACKINGS.get(usize::from(packing)).copied();
        let packing = of_number.ok_or(HelloError::Packing(packing))?;
        let channels = fields.u16().ok_or(short)?;
        let steps = fields.u16().ok_or(short)?;
        let pwm_hz = fields.u32().ok_or(short)?;
        let hold_ms = fields.u16().ok_or(short)?;
        let rate = [fields.u32().ok_or(short)?, fields.u32().ok_or(short)?];
        let window_s = fields.u16().ok_or(short)?;
        let count = fields.u16().ok_or(short)?;
        if count != 0 && count != channels {
            return Err(HelloError::Limits { limits: count, channels });
        }
        let bit = |bit: u8| flags & (1 << bit) != 0;
        Ok(Self {
            minor,
            role,
            verdict: Verdict::from_number(verdict),
            packing,
            two_way: bit(0),
            knows: Knows { temperature: bit(1), supply_v: bit(2), supply_a: bit(3), flash: bit(4) },
            channels,
            steps,
            pwm_hz,
            hold_ms,
            rate,
            window_s,
            limits: read_limits(&mut fields, count).ok_or(short)?,
        })
    }

    /// Appends the payload to `out`. Limits that are not one for each channel are left out.
    pub fn write(&self, out: &mut Vec<u8>) {
        let role = match self.role {
            Role::Host => 1,
            Role::Board => 2,
        };
        let packing = (0..).zip(PACKINGS).find(|(_, it)| *it == self.packing).map_or(0, |it| it.0);
        let Knows { temperature, supply_v, supply_a, flash } = self.knows;
        let flags = [self.two_way, temperature, supply_v, supply_a, flash];
        let flags = (0..).zip(flags).fold(0, |flags, (bit, set)| flags | (u8::from(set) << bit));
        let verdict = self.verdict.number();
        out.extend_from_slice(&[LINK[0], self.minor, role, verdict, packing, flags]);
        out.extend_from_slice(&self.channels.to_le_bytes());
        out.extend_from_slice(&self.steps.to_le_bytes());
        out.extend_from_slice(&self.pwm_hz.to_le_bytes());
        out.extend_from_slice(&self.hold_ms.to_le_bytes());
        for part in self.rate {
            out.extend_from_slice(&part.to_le_bytes());
        }
        let fits = self.limits.len() == usize::from(self.channels);
        write_limits(self.window_s, if fits { &self.limits } else { &[] }, out);
    }
}
