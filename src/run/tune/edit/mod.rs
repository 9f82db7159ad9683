//! What is changed while tuning, and how it gets into the files.
//!
//! Two texts are under edit, the mapping's and, for the coils' trims, the display's (`paper`,
//! `routes`). Every change is judged by the readers that judge files (`fit`) before it counts: what
//! they refuse changes nothing. What was done can be undone without limit (`history`), in two
//! versions side by side, of which one is played. Saved is what is played (`paper_file`).

mod act;
mod fit;
mod history;
mod paper;
mod paper_file;
mod routes;
#[cfg(test)]
mod tests;
mod trims;
mod work;

pub use act::Act;
pub use fit::{Ground, Quieted, RouteView, View};
pub use paper::Step;
pub use paper_file::draft_of;
pub use work::{Outcome, Standing, Work};
