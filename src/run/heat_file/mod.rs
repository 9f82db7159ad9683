//! The heat of a display, carried from one run to the next.
//!
//! A program that starts does not know how warm the coils are. [`Start::Unknown`](crate::budget::Start::Unknown) takes them for as
//! hot as they may ever be, which is safe and dull. A heat file says better: whoever drives a
//! display keeps its model's temperatures in a small file beside the display file ([`beside`]), and
//! whoever drives it next reads them, cooled by the time in between.
//!
//! ```text
//! HeatFile::start -> Start      read, checked, cooled by its age; or unknown, and why
//! HeatFile::keep  -> Keeper     written at once, then every 2 s by a thread of its own
//!   Keeper::note                after every frame: never waits, never allocates
//!   Keeper::is_stuck            true: stop driving
//!   drop                        once the coils are off: the last word
//! ```
//!
//! # Why the model is never cooler than the coils
//!
//! - **Written before anything is driven**, so that the file of the run before, which says that the
//!   coils are cooling, is gone.
//! - **A run that was killed** drove on after its last word. Nothing says for how long, but a run
//!   whose file could be neither written nor removed for [`STUCK_S`] has to stop. So a file that is not closed
//!   counts as [`LEASE_S`] and the driver's hold of full power on all coils after it was written,
//!   whenever it is read; a closed one as the driver's hold, as the board may have missed the last word.
//!   [`rested`](crate::budget::rested()) shows that no course of duties is warmer.
//! - **A file that cannot be written is removed**, on a full disk too: an old one would let the
//!   coils cool while they are driven.
//! - **A file that is torn, edited, of another display or of a clock that went backwards is not
//!   believed**, and the start is unknown. The display is told by its digest, so whoever edits a
//!   display file starts as from nothing; there is one file for each display file and not one for
//!   each digest, so that undoing the edit does not bring older heat back.
//! - **Age is the smaller** of what the wall clock and, within one run of the machine, its own count
//!   of seconds say.
//!
//! What no file can know: that the coils were driven from another computer, or by way of a copy of
//! the display file, since; and that a wall clock was set forward while the machine was off, as when
//! one without a battery starts with an old time. Then start with none.

mod keeper;
mod moment;
mod record;

pub use keeper::{HeatFile, KEPT_EVERY_S, Keeper, STUCK_S, beside};
pub use moment::{Boot, Moment};
pub use record::{Known, LEASE_S, Record, Unknown, read};
