//! Where the beat falls: the likeliest tempo and place within the beat, followed from tick to tick.
//!
//! Every pair of a tempo and a place within its beat is a state. From tick to tick each state moves
//! on by one place; at the end of a beat the tempo may change a little. Where a beat begins, a sign
//! of a beat in the sound is expected, elsewhere none. The likeliest way that leads to a state
//! (Viterbi) says where we are now; followed back from the end of a song it says where all beats
//! were. Beats come with and without strokes half way between them, so there either is nearly as good.
//! States as in F. Krebs, S. Bock and G. Widmer, "An efficient state-space model for joint
//! tempo and meter tracking", ISMIR 2015.

mod pulse;
mod states;
mod track;

pub use states::TICKS_PER_S;
pub use track::{Beat, Tempo, Trace};
