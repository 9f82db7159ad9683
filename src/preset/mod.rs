//! What the maker wrote: a mapping (what moves to what) and a display (what is there to move).
//!
//! Two kinds of TOML file, read in two steps. [`mapping::read`] and [`display::read`] check one
//! text each: every number against its range, every name against what exists, all problems of the
//! file at once, each with its place and its cure ([`finding`]). [`prepare()`] then fits a mapping
//! to a display and to the sound to come, and gives settings without names or options.
//!
//! [`form`] says which keys a mapping may hold, for whoever offers them to be edited.
//! [`mod@write`] puts what was seen of the coils into a display file's text,
//! [`write_fit`] what a heating test said of a kind of coil.
//!
//! Nothing here touches a file except [`load_mapping`] and [`load_display`].

mod board;
mod check;
mod check_wiring;
mod choice;
mod coils;
mod digest;
pub mod display;
mod driver;
mod ears;
pub mod finding;
pub mod form;
mod hardware;
mod harness;
mod lag;
pub mod layout;
pub mod lift;
mod lifts;
mod limits;
mod limits_lift;
mod load;
pub mod magnet;
pub mod mapping;
mod motions;
mod names;
mod narrow;
mod near;
mod prepare;
mod prepare_budget;
pub mod pulls;
mod read_ears;
mod read_hears;
mod read_moves;
mod read_route;
mod route;
mod section;
mod values;
mod wishes;
mod words;
pub mod write;
pub mod write_fit;
pub mod write_lift;

pub use board::board_settings;
pub use choice::Choice;
pub use display::Display;
pub use finding::{Finding, Refusals};
pub use load::{load_display, load_mapping};
pub use mapping::Mapping;
pub use names::{CoilName, Names, coil_labels};
pub use prepare::prepare;
pub use prepare_budget::{prepare_display, prepare_pulls};
pub use words::counted;
