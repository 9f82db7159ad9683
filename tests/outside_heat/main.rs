//! Coil physics and heat against published figures, closed forms and independent computation.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests stop at the first surprise"
)]

mod copper;
#[path = "../budget_limits/nets.rs"]
#[allow(dead_code, reason = "the random displays are for the other test")]
mod nets;
#[path = "../budget_limits/plant.rs"]
#[allow(dead_code, reason = "only parts of the judge are needed here")]
mod plant;
mod pwm;
mod refusals;
mod reports;
mod step;
mod worked;
