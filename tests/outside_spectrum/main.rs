//! The analysis against the outside: published tables, exact identities, signals whose levels are
//! known by hand. Each check names its source.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

mod bands;
mod channels;
mod chunks;
mod clicks;
mod levels;
mod noise;
mod playing;
mod refusals;
mod scales;
mod signals;
mod weighting;
mod windows;
