//! What a coil is, as physics: copper that warms, PWM into resistance and inductance.
//!
//! Pure functions; nothing here knows about displays, songs or limits. For heat: [`copper`] is
//! resistance against temperature, [`harness`] the wire to the coil and the supply's capacitor,
//! [`pwm`] is current and heat in closed form, [`chords`] is the same heat as a table that can be
//! read, and read backwards, once per coil and frame.
//!
//! For the bench, from small to large: [`elliptic`] integrals give the field of one [`turn`]; turns
//! make a [`winding`], with [`iron`] behind it, and its [`inductance`]; a [`magnet`] adds the bias.
//! [`space`] holds places and directions.

pub mod chords;
pub mod copper;
pub mod elliptic;
pub mod harness;
pub mod inductance;
pub mod iron;
pub mod magnet;
pub mod pwm;
pub mod space;
pub mod turn;
pub mod winding;
