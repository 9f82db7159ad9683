//! Boards on real pseudo-terminals: what arrives there, and what happens when things go wrong.
//!
//! The board is the one of `examples/sim_board`, which shares packets with the program and no
//! decisions. A pseudo-terminal has no speed; where speed matters, the board reads no faster than
//! its line.
#![cfg(all(unix, feature = "serial"))]
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    unreachable_pub,
    reason = "tests stop at the first surprise; lines and boards are the outside world"
)]

mod bench;
#[path = "../../examples/sim_board/board.rs"]
#[allow(dead_code, reason = "shared with the example")]
mod board;
#[path = "../common/mod.rs"]
mod common;
mod faults;
mod limits;
mod matches;
mod plays;
#[path = "../../examples/sim_board/pty.rs"]
mod pty;
mod signals;
