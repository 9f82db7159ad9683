//! A show as it is played: what the loop needs beside sound that does not wait.
//!
//! ```text
//!                 hands ([`Controls`])
//!                   v
//! source  ->  pump, engine  ->  [`Outlet`]  ->  board
//!    |            |                 |
//!    |         [`Show`]             +-> [`Recording`] -> disk, on a thread of its own
//!    |            +-> [`Snapshot`] once a second
//!    +-> [`Saving`] -> disk, on a thread of its own
//! ```
//!
//! Nothing on the frame path waits or takes memory: disks are reached through rings, snapshots and
//! [`Notices`] through queues that drop them when nobody takes them. A disk that fails ends what it kept, with
//! a sentence, and not the show. What is kept is enough to make the run again, byte for byte: the
//! sound as heard, silence for lost sound included, the heat at the start, and hands.
#![allow(clippy::disallowed_methods, reason = "a show has clocks, threads and files")]

mod controls;
mod keep;
mod notices;
mod outlet;
mod scribe;
mod show;
mod tally;

pub use controls::Controls;
pub use keep::{Kept, Recording, Saving};
pub use notices::{Noticed, Notices, notices};
pub use outlet::Outlet;
pub use show::{Show, Watch};
pub use tally::{Hottest, Snapshot, Times};
