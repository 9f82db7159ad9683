//! STATUS: what a board reports, ten times a second once it is greeted.
//!
//! The frame number is that of the last frame it took. Counts wrap. Low byte first:
//!
//! ```text
//! offset  size  what
//! 0       1     flags: bit 0 driving: a DUTY came since the last HELLO, OFF or trip;
//!               1 the watchdog has switched all off; 2 refuses DUTY, as nobody greeted it;
//!               3 holds a channel to a limit now; 4 too hot, all off
//! 1       1     0
//! 2       2     watchdog trips since it started
//! 4       4     frames taken
//! 8       4     frames missed: gaps in the numbers
//! 12      4     frames dropped: late, repeated or malformed
//! 16      4     damaged pieces
//! 20      4     codes held to a limit
//! 24      2     temperature, 0.1 C, signed; 0x7FFF not known
//! 26      2     supply, 10 mV; 0xFFFF not known
//! 28      2     current of all coils of the board, 10 mA; 0xFFFF not known
//! 30      2     n: 0 or the number of channels
//! 32      2 n   running mean of each channel's code, without its sign
//! ```

use thiserror::Error;

use super::fields::Fields;
use super::hello::MOST_CHANNELS;

/// Most bytes of a STATUS of this version.
pub const LONGEST_STATUS: usize = 32 + 2 * MOST_CHANNELS as usize;

/// "Not known" for a temperature.
const NO_TEMPERATURE: i16 = i16::MAX;

/// "Not known" for voltage and current.
const NO_SUPPLY: u16 = u16::MAX;

/// A board's report: see the [module's table](self).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Status {
    /// A DUTY came since the last HELLO, OFF or trip.
    pub driving: bool,
    /// The watchdog has switched all off.
    pub off_by_watchdog: bool,
    /// It obeys no DUTY, as nobody greeted it.
    pub not_greeted: bool,
    /// It holds a channel to a limit now.
    pub clamping: bool,
    /// Too hot: all off.
    pub too_hot: bool,
    /// Watchdog trips since it started.
    pub trips: u16,
    /// Frames taken.
    pub taken: u32,
    /// Gaps in the frame numbers, in frames.
    pub missed: u32,
    /// Frames that came late, again or malformed.
    pub dropped: u32,
    /// Pieces that were no packets.
    pub damaged: u32,
    /// Codes held to a limit.
    pub clamped: u32,
    /// Its temperature, C, where it knows it.
    pub temperature_c: Option<f64>,
    /// Its supply, V, where it knows it.
    pub supply_v: Option<f64>,
    /// Current of all its coils, A, where it knows it.
    pub supply_a: Option<f64>,
}

/// Bytes that are no STATUS.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("a STATUS packet with {0} bytes does not hold what it promises")]
pub struct StatusError(pub usize);

impl Status {
    /// Reads a payload, whatever it is, and replaces `means` by the running means of the channels.
    ///
    /// # Errors
    ///
    /// When it is shorter than it says; `means` is then empty.
    pub fn read(payload: &[u8], means: &mut Vec<u16>) -> Result<Self, StatusError> {
        means.clear();
        Self::parse(payload, means).ok_or(StatusError(payload.len()))
    }

    fn parse(payload: &[u8], means: &mut Vec<u16>) -> Option<Self> {
        let mut fields = Fields(payload);
        let flags = fields.u8()?;
        let bit = |bit: u8| flags & (1 << bit) != 0;
        let _reserved = fields.u8()?;
        let hundredths = |raw: u16| (raw != NO_SUPPLY).then(|| f64::from(raw) / 100.0);
        let status = Self {
            driving: bit(0),
            off_by_watchdog: bit(1),
            not_greeted: bit(2),
            clamping: bit(3),
            too_hot: bit(4),
            trips: fields.u16()?,
            taken: fields.u32()?,
            missed: fields.u32()?,
            dropped: fields.u32()?,
            damaged: fields.u32()?,
            clamped: fields.u32()?,
            temperature_c: Some(fields.i16()?)
                .filter(|raw| *raw != NO_TEMPERATURE)
                .map(|raw| f64::from(raw) / 10.0),
            supply_v: hundredths(fields.u16()?),
            supply_a: hundredths(fields.u16()?),
        };
        let count = usize::from(fields.u16()?);
        let bytes = fields.0.get(..2 * count)?;
        means.extend(bytes.as_chunks().0.iter().map(|&mean| u16::from_le_bytes(mean)));
        Some(status)
    }

    /// Appends the payload to `out`.
    pub fn write(&self, means: &[u16], out: &mut Vec<u8>) {
        let flags =
            [self.driving, self.off_by_watchdog, self.not_greeted, self.clamping, self.too_hot];
        let flags = (0..).zip(flags).fold(0, |flags, (bit, set)| flags | (u8::from(set) << bit));
        out.extend_from_slice(&[flags, 0]);
        out.extend_from_slice(&self.trips.to_le_bytes());
        for count in [self.taken, self.missed, self.dropped, self.damaged, self.clamped] {
            out.extend_from_slice(&count.to_le_bytes());
        }
        let temperature = self.temperature_c.map_or(NO_TEMPERATURE, |c| tenths(c * 10.0));
        out.extend_from_slice(&temperature.to_le_bytes());
        for supply in [self.supply_v, self.supply_a] {
            let raw = supply.map_or(NO_SUPPLY, |value| hundredths(value * 100.0));
            out.extend_from_slice(&raw.to_le_bytes());
        }
        let count = u16::try_from(means.len()).unwrap_or(u16::MAX);
        out.extend_from_slice(&count.to_le_bytes());
        for mean in means.iter().take(count.into()) {
            out.extend_from_slice(&mean.to_le_bytes());
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "held to the numbers that mean something")]
fn tenths(value: f64) -> i16 {
    value.round().clamp(f64::from(i16::MIN), f64::from(NO_TEMPERATURE - 1)) as i16
}

#[expect(clippy::cast_possible_truncation, reason = "held to the numbers that mean something")]
#[expect(clippy::cast_sign_loss, reason = "held to 0 and above")]
fn hundredths(value: f64) -> u16 {
    value.round().clamp(0.0, f64::from(NO_SUPPLY - 1)) as u16
}
