//! How long to wait before a device that is gone is tried again.

use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// Between two looks at a device, or at who may want to stop.
pub(super) const LOOK: Duration = Duration::from_millis(25);

/// Waits between attempts to open.
const BACK_OFF_MS: [u64; 5] = [100, 250, 500, 1000, 2000];

/// The wait before attempt `failed` (0: the first after a loss).
pub(super) fn back_off(failed: usize) -> Duration {
    let last = BACK_OFF_MS.len() - 1;
    Duration::from_millis(BACK_OFF_MS.get(failed.min(last)).copied().unwrap_or(2000))
}

/// Waits, but not for whoever is to quit.
pub(super) fn wait(span: Duration, quit: &AtomicBool) {
    let mut left = span;
    while !left.is_zero() && !quit.load(Ordering::Relaxed) {
        let now = left.min(LOOK);
        thread::sleep(now);
        left -= now;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn attempts_come_further_and_further_apart() {
        let waits: Vec<u128> = [0, 1, 2, 3, 4, 5, 1000].map(|n| back_off(n).as_millis()).to_vec();
        assert_eq!(waits, [100, 250, 500, 1000, 2000, 2000, 2000]);
    }
}
