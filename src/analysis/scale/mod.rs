//! Scales: ways to cut the sound into neighbouring bands.
//!
//! ```text
//! octave   Scale    octave and third-octave bands, called by round frequencies
//! bark     bark     24 critical bands, called by number
//! warped   Warped   any number of bands, equally wide in ERB or in mel
//! ```
//!
//! All of them give adjoining bands with sharp edges: the bands of one scale share the sound among
//! them, nothing is heard twice and nothing is left out.

pub mod bark;
mod octave;
mod warped;

pub use octave::{Scale, ScaleBand};
pub use warped::{Warped, erb_hz};
