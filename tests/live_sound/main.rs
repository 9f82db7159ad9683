//! A real sound server, a song played into it, the program hearing it, a board on a
//! pseudo-terminal: the whole way, and what happens when parts of it go away.
#![cfg(all(target_os = "linux", feature = "capture", feature = "serial"))]
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    unreachable_pub,
    dead_code,
    reason = "tests stop at the first surprise; servers and boards are the outside world"
)]

#[path = "../board_link/bench.rs"]
mod bench;
#[path = "../../examples/sim_board/board.rs"]
mod board;
#[path = "../common/mod.rs"]
mod common;
mod delay;
mod disk;
mod ends;
mod kept_back;
mod long;
#[path = "../common/loopback.rs"]
mod loopback;
#[path = "../../examples/sim_board/pty.rs"]
mod pty;
mod show;
mod stage;
