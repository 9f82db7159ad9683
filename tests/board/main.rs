//! The driver board's program in `examples/driver-board/`: its portable C driven over a pipe, its
//! decoder against this crate's, the whole cross-compiled, and run by a processor emulator.
//!
//! Payloads are put together and taken apart by hand here, from the description of the link, not
//! by the code that sends them for the program.
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

mod build;
mod duties;
mod emulated;
mod emulator;
mod heat;
mod hello;
mod in_c;
mod limits;
mod packets;
mod payload;
#[cfg(feature = "serial")]
mod program;
