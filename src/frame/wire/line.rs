//! What packets cost on a serial line.

use super::{OVERHEAD, stuffed_len};
use crate::frame::Packing;

/// A byte on a serial line: start bit, eight bits, stop bit (8N1).
pub const BITS_PER_BYTE: f64 = 10.0;

/// The most bytes that a packet with so much payload takes, delimiter and all.
pub const fn packet_bytes(payload: usize) -> usize {
    stuffed_len(OVERHEAD + payload) + 1
}

/// The most bytes that a DUTY packet takes.
pub fn duty_bytes(packing: Packing, channels: usize) -> usize {
    packet_bytes(packing.bytes(channels))
}

/// Time that so many bytes take, s.
pub fn seconds(baud: f64, bytes: usize) -> f64 {
    bytes as f64 * BITS_PER_BYTE / baud
}

/// How many packets of so many bytes a full line carries, per second.
pub fn packets_per_s(baud: f64, bytes: usize) -> f64 {
    baud / BITS_PER_BYTE / bytes as f64
}
