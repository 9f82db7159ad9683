//! Greeting, pacing and the link as a whole, with time as an argument.
