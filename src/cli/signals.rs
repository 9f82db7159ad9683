//! The user's wish to stop: one list of signals for every command.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::Failure;

/// Ctrl-C, a polite kill, a closed terminal.
pub(super) const SIGNALS: &[std::ffi::c_int] = &[
    signal_hook::consts::SIGINT,
    signal_hook::consts::SIGTERM,
    #[cfg(unix)]
    signal_hook::consts::SIGHUP,
];

/// A flag that Ctrl-C, a polite kill and a closed terminal set. None of them ends the program by
/// itself from here on: coils must be off first, a file brought to its end, a terminal put right.
pub(super) fn stop_flag() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    for &signal in SIGNALS {
        signal_hook::flag::register(signal, Arc::clone(&stop)).map_err(Failure::failed)?;
    }
    Ok(stop)
}
