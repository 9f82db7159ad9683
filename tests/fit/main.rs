//! Heating tests of invented coils, simulated by a program of its own: does a fit find what was put
//! in, are its errors honest, is its margin enough, and does it say what is missing?
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

mod bench;
mod boxed;
mod by_hand;
mod command;
mod honest;
mod inductance;
mod recovery;
mod reference;
mod refusals;

#[path = "../budget_limits/plant.rs"]
#[allow(dead_code, reason = "made for other tests as well")]
mod plant;
