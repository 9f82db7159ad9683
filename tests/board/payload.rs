//! Packets by hand.

use coilscore::frame::wire::{Decoder, check, stuff};

pub(crate) const HELLO: u8 = 1;
pub(crate) const DUTY: u8 = 2;
pub(crate) const OFF: u8 = 3;
pub(crate) const STATUS: u8 = 4;
pub(crate) const LIMITS: u8 = 5;

pub(crate) const BYTE: u8 = 0;
pub(crate) const TWELVE: u8 = 1;
pub(crate) const WORD: u8 = 2;
pub(crate) const SIGNED_WORD: u8 = 3;

/// A packet of any kind, with its delimiter.
pub(crate) fn packet(kind: u8, frame: u32, payload: &[u8]) -> Vec<u8> {
    let mut raw = vec![kind];
    raw.extend_from_slice(&frame.to_le_bytes());
    raw.extend_from_slice(payload);
    raw.extend_from_slice(&check(&raw).to_le_bytes());
    let mut out = Vec::new();
    stuff(&raw, &mut out);
    out
}

/// Kind, frame and payload of everything in a stream that must be undamaged.
pub(crate) fn packets(stream: &[u8]) -> Vec<(u8, u32, Vec<u8>)> {
    let mut decoder = Decoder::new(4096);
    let mut rest = stream;
    let mut seen = Vec::new();
    while let Some(packet) = decoder.take(&mut rest) {
        let packet = packet.unwrap_or_else(|damage| panic!("the board sent damage: {damage}"));
        seen.push((packet.kind.number(), packet.frame, packet.payload.to_vec()));
    }
    assert_eq!(decoder.unfinished(), None);
    seen
}

pub(crate) fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

pub(crate) fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

/// A host's HELLO.
#[derive(Debug, Clone)]
pub(crate) struct Hello {
    pub(crate) major: u8,
    pub(crate) minor: u8,
    pub(crate) role: u8,
    pub(crate) packing: u8,
    pub(crate) two_way: bool,
    pub(crate) channels: u16,
    pub(crate) steps: u16,
    pub(crate) hold_ms: u16,
    pub(crate) rate: [u32; 2],
    pub(crate) window_s: u16,
    /// Largest code, largest mean.
    pub(crate) limits: Vec<(u16, u16)>,
    /// What a newer minor adds.
    pub(crate) tail: Vec<u8>,
}

impl Hello {
    pub(crate) fn new(channels: usize, steps: u16, packing: u8) -> Self {
        Self {
            major: 1,
            minor: 0,
            role: 1,
            packing,
            two_way: packing == SIGNED_WORD,
            channels: channels as u16,
            steps,
            hold_ms: 250,
            rate: [200, 1],
            window_s: 0,
            limits: Vec::new(),
            tail: Vec::new(),
        }
    }

    pub(crate) fn payload(&self) -> Vec<u8> {
        let mut out =
            vec![self.major, self.minor, self.role, 0, self.packing, u8::from(self.two_way)];
        out.extend(self.channels.to_le_bytes());
        out.extend(self.steps.to_le_bytes());
        out.extend(22_000_u32.to_le_bytes());
        out.extend(self.hold_ms.to_le_bytes());
        out.extend(self.rate.iter().flat_map(|part| part.to_le_bytes()));
        out.extend(self.window_s.to_le_bytes());
        out.extend(limits(&self.limits));
        assert_eq!(out.len(), 28 + 4 * self.limits.len());
        out.extend_from_slice(&self.tail);
        out
    }

    pub(crate) fn packet(&self) -> Vec<u8> {
        packet(HELLO, 0, &self.payload())
    }
}

/// A count and as many limits.
fn limits(limits: &[(u16, u16)]) -> Vec<u8> {
    let mut out = (limits.len() as u16).to_le_bytes().to_vec();
    for (most, mean_most) in limits {
        out.extend(most.to_le_bytes());
        out.extend(mean_most.to_le_bytes());
    }
    out
}

/// LIMITS for the flash.
pub(crate) fn store(window_s: u16, each: &[(u16, u16)]) -> Vec<u8> {
    packet(LIMITS, 0, &[window_s.to_le_bytes().to_vec(), limits(each)].concat())
}

/// Codes as `src/frame/pack.rs` describes them, written again.
pub(crate) fn pack(packing: u8, codes: &[i32]) -> Vec<u8> {
    match packing {
        BYTE => codes.iter().map(|&code| code as u8).collect(),
        TWELVE => {
            let nibble = |at: usize| codes[at / 3] >> (4 * (at % 3)) & 15;
            let count = 3 * codes.len();
            let high = |at: usize| if at + 1 < count { nibble(at + 1) } else { 0 };
            (0..count).step_by(2).map(|at| (nibble(at) | high(at) << 4) as u8).collect()
        }
        _ => codes.iter().flat_map(|&code| (code as u16).to_le_bytes()).collect(),
    }
}

pub(crate) fn duty(frame: u32, packing: u8, codes: &[i32]) -> Vec<u8> {
    packet(DUTY, frame, &pack(packing, codes))
}

/// A board's STATUS.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Status {
    pub(crate) frame: u32,
    pub(crate) driving: bool,
    pub(crate) by_watchdog: bool,
    pub(crate) not_greeted: bool,
    pub(crate) clamps: bool,
    pub(crate) hot: bool,
    pub(crate) trips: u16,
    pub(crate) taken: u32,
    pub(crate) missed: u32,
    pub(crate) dropped: u32,
    pub(crate) damaged: u32,
    pub(crate) clamped: u32,
    pub(crate) temperature: u16,
    pub(crate) supply: u16,
    pub(crate) current: u16,
    pub(crate) means: Vec<u16>,
}

impl Status {
    pub(crate) fn read(frame: u32, payload: &[u8]) -> Self {
        let flag = |bit: u8| payload[0] >> bit & 1 == 1;
        let channels = u16_at(payload, 30) as usize;
        assert_eq!(payload.len(), 32 + 2 * channels);
        assert_eq!((payload[0] >> 5, payload[1]), (0, 0), "reserved");
        Self {
            frame,
            driving: flag(0),
            by_watchdog: flag(1),
            not_greeted: flag(2),
            clamps: flag(3),
            hot: flag(4),
            trips: u16_at(payload, 2),
            taken: u32_at(payload, 4),
            missed: u32_at(payload, 8),
            dropped: u32_at(payload, 12),
            damaged: u32_at(payload, 16),
            clamped: u32_at(payload, 20),
            temperature: u16_at(payload, 24),
            supply: u16_at(payload, 26),
            current: u16_at(payload, 28),
            means: (0..channels).map(|channel| u16_at(payload, 32 + 2 * channel)).collect(),
        }
    }
}
