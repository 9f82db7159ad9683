//! What a coil is, as physics: copper that warms, PWM into resistance and inductance.
//!
//! Pure functions; nothing here knows about displays, songs or limits. [`copper`] is resistance
//! against temperature, [`harness`] the wire to the coil and the supply's capacitor, [`pwm`] is
//! current and heat in closed form, [`chords`] is the same heat as a table that can be read, and
//! read backwards, once per coil and frame.

pub mod chords;
pub mod copper;
pub mod harness;
pub mod pwm;
