//! Coils, magnets and fluid against published figures, reference libraries and brute force.
//!
//! Tables lie in `data/`. `magpylib_*.csv` and `elliptic.csv` were written by `reference.py` beside
//! this file with magpylib 6.3.0 and mpmath 1.4.1; the others were computed with the library that
//! their column names or the test says. Run with `--nocapture` to see the agreement.

#![allow(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    reason = "tests stop at the first surprise"
)]

mod agree;
mod bench_figures;
mod copper;
mod fluid;
mod laws;
mod lift;
mod loops;
mod magnets;
mod pairs;
mod refusals;
