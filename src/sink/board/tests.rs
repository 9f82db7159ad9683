//! Greeting, pacing and the link as a whole, with time as an argument.

mod greets;
mod links;
mod paces;

use super::settings::{BoardSettings, Wiring};
use crate::frame::Packing;
use crate::frame::wire::hello::{Hello, Knows, Role, Verdict};
use crate::frame::wire::limits::Limit;
use crate::units::Rate;

/// Three channels, the middle one without a coil.
fn settings() -> BoardSettings {
    let open = Limit { most: 1000, mean_most: 1000 };
    BoardSettings {
        rate: Rate::new(100, 1).unwrap(),
        steps: 1000,
        two_way: false,
        packing: Packing::Twelve,
        pwm_hz: 22_000,
        hold_ms: 250,
        baud: Some(1_000_000),
        window_s: 0,
        block_s: Some(0.02),
        late_s: 0.05,
        boards: vec![Wiring {
            number: 0,
            coils: vec![Some(1), None, Some(0)],
            limits: vec![open, Limit::OFF, open],
        }],
    }
}

/// What a board that matches says.
fn board(verdict: Verdict) -> Hello {
    Hello {
        minor: 0,
        role: Role::Board,
        verdict,
        packing: Packing::Twelve,
        two_way: false,
        knows: Knows::default(),
        channels: 3,
        steps: 1000,
        pwm_hz: 22_000,
        hold_ms: 250,
        rate: [100, 1],
        window_s: 60,
        limits: Vec::new(),
    }
}

fn payload(hello: &Hello) -> Vec<u8> {
    let mut bytes = Vec::new();
    hello.write(&mut bytes);
    bytes
}
