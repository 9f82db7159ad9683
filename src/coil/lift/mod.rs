//! Lifting fluid: pull over weight against current, and the magnet that makes it nearly straight.
//!
//! u is the coil's current as a share of its full current, positive when it aids the magnet. q is
//! pull over weight: fluid lifts at q = 1. A [`law`] is q(u); a [`mod@bench`] makes laws out of coil,
//! magnet, fluid and distance and finds the distance; [`tolerance`] asks what happens when they
//! are not as thought; [`mod@array`] does all coils of a display with each other's fields; [`advice`] puts
//! into words what to do.

pub mod advice;
pub mod array;
pub mod bench;
pub mod law;
pub mod tolerance;

pub use bench::{Bench, BiasError};
pub use law::{PullLaw, Watched};
