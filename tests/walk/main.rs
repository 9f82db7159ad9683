//! One coil at a time: the rounds as state machines, the display file that they write, and the
//! program at work on a pseudo-terminal board.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    unreachable_pub,
    reason = "tests stop at the first surprise; lines, boards and people are the outside world"
)]

#[cfg(all(unix, feature = "serial"))]
#[path = "../board_link/bench.rs"]
#[allow(dead_code, reason = "shared with the tests of the link")]
mod bench;
#[cfg(all(unix, feature = "serial"))]
#[path = "../../examples/sim_board/board.rs"]
#[allow(dead_code, reason = "shared with the example")]
mod board;
#[path = "../common/mod.rs"]
mod common;
mod display_file;
mod ends;
mod heating;
mod onlooker;
mod program;
#[cfg(all(unix, feature = "serial"))]
#[path = "../../examples/sim_board/pty.rs"]
mod pty;
mod rings;
mod rounds;
mod windings;
