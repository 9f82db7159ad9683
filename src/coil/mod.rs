//! What a coil is, as physics: copper that warms, PWM into resistance and inductance.
//!
//! Pure functions; nothing here knows about displays, songs or limits.
