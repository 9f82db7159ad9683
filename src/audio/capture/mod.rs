//! Sound as it is played: from an input of the sound system.
//!
//! ```text
//! sound system's thread      keeper's thread             whoever reads
//! callback -> intake, a ring -------------------------->  Capture, a Source
//!        errors: a counter    keeper opens, watches,       timeline: silence for what
//!                             drops and opens anew          was lost
//! ```
//!
//! The callback converts, copies and counts; it takes no lock and no memory. [`devices`] lists and
//! finds inputs by the text that people paste, `stream` opens one. A device that goes away is
//! waited for; meanwhile silence of the lost length goes in.
#![allow(clippy::disallowed_methods, reason = "this is where sound comes in, in real time")]

pub mod devices;
mod intake;
mod keeper;
mod source;
mod stream;
mod timeline;

pub use intake::{Gauged, Gauges};
pub use source::{Capture, Settled};
pub use stream::{CaptureError, Wanted};

/// Whether a stream is as good as gone after such an error.
pub(super) fn is_grave(kind: cpal::ErrorKind) -> bool {
    stream::GRAVE.iter().any(|(grave, _)| *grave == kind)
}
