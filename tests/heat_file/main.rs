//! Heat across restarts: what a heat file carries over, against a plant whose heat stays.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise; the plant uses the platform's own exp; heat files are files"
)]

#[path = "../budget_limits/nets.rs"]
#[allow(dead_code, reason = "shared with the tests of the budget")]
mod nets;
#[path = "../budget_limits/plant.rs"]
#[allow(dead_code, reason = "shared with the tests of the budget")]
mod plant;

mod keeper;
mod restarts;
mod rested;
mod trust;
mod world;
