//! The promises of the budget, judged by physics that is written apart from it.
//!
//! Whatever is wished, no node passes its bound; what heat allows for ever is always granted; next
//! to nothing is cut that need not be; and real coils that differ from their figures by a fifth
//! stay within the stated limits.

#![allow(
    clippy::disallowed_methods,
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::needless_range_loop,
    reason = "tests stop at the first surprise; oracles read as the formulas they are"
)]

mod cold;
mod enclosure;
mod hold;
mod lift;
mod long;
mod nets;
mod oracle;
mod pace;
mod plant;
mod rails;
mod random;
mod useful;
