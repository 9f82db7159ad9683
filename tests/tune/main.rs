//! The tuning page: the program itself with pages of every kind at it, and a real browser.
#![cfg(all(target_os = "linux", feature = "tune"))]
#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise; servers and browsers are the outside world"
)]

mod browser;
mod doors;
mod driver;
mod pages;
mod program;
