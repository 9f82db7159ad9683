//! Sound that is played, kept back on its way or out of a file.
//!
//! ```text
//! whoever reads the sound                      sound system's thread
//! Feed, a ring's end ---------------------->  KeptBack: Drift (fill -> speed), Stretch
//! ```
//!
//! Capture and output have clocks of their own. [`Drift`] watches how full the ring is and says how
//! fast it has to be emptied for the delay to stay; [`Stretch`] empties it at that speed. Both are
//! pure, take memory in constructors only, and are tested against simulated clocks. `Output` is a
//! stream of the sound system, `Speaker` opens it again when it was lost.

mod drift;
mod kept_back;
#[cfg(feature = "capture")]
#[allow(clippy::disallowed_methods, reason = "this is where sound goes out, in real time")]
mod output;
#[cfg(feature = "capture")]
#[allow(clippy::disallowed_methods, reason = "a thread watches the output, in real time")]
mod speaker;
mod stretch;
mod tap;

pub use drift::Drift;
pub use kept_back::{Feed, Fill, Kept, KeptBack, keep_back};
#[cfg(feature = "capture")]
pub use output::{Output, OutputError, OutputPlan, OutputWanted, plan_output};
#[cfg(feature = "capture")]
pub use speaker::{Filler, Pulse, Said, Speaker};
pub use stretch::{Stretch, StretchError};
pub use tap::Tap;
