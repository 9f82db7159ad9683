//! What can be heard besides levels, against standards, closed forms and sounds with known events.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]

#[path = "../common/counting.rs"]
mod counting;

mod beat;
mod brightness;
mod events;
mod loudness;
mod mapping;
mod sounds;
