//! A fluid that follows late: how far from the music it moves, and what brings it closer.
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

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/counting.rs"]
mod counting;
mod hour;
mod late;
mod lead;
mod songs;
