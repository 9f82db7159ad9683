//! What a coil is, as physics: copper that warms, PWM into resistance and inductance.
//!
//! Pure functions; nothing here knows about displays, songs or limits. For heat: [`copper`] is
//! resistance against temperature, [`harness`] the wire to the coil and the supply's capacitor,
//! [`pwm`] is current and heat in closed form, [`chords`] is the same heat as a table that can be
//! read, and read backwards, once per coil and frame.
//!
//! For the bench, from small to large: [`elliptic`] integrals give the field of one [`turn`]; turns
//! make a [`winding`], with [`iron`] behind it, and its [`inductance`]; [`geometry`] winds what was
//! written down, with [`resistance`] and its uncertainty; [`mean`] finds the duty for a current.
//! [`figures`] sums a coil up and [`sweep`] varies it. A [`magnet`] adds the bias, [`fluid`] is what
//! is to be lifted, and [`lift`] puts all of it together. [`space`] holds places and directions.

pub mod chords;
pub mod copper;
pub mod elliptic;
pub mod figures;
pub mod fluid;
pub mod geometry;
pub mod harness;
pub mod inductance;
pub mod iron;
pub mod lift;
pub mod magnet;
pub mod mean;
pub mod pwm;
pub mod resistance;
pub mod space;
pub mod sweep;
pub mod turn;
pub mod winding;
