//! When to look again for a board that is gone.

/// Wait after the first failure, s.
const FIRST_S: f64 = 0.25;

/// Longest wait, s: someone has just put the plug back and is looking.
const LONGEST_S: f64 = 1.0;

/// Doubling waits. Times are seconds of one steady clock of the caller's.
#[derive(Debug, Clone, Default)]
pub struct Backoff {
    wait_s: f64,
    next_s: f64,
}

impl Backoff {
    /// It failed, or was lost, just now.
    pub fn failed(&mut self, now_s: f64) {
        self.wait_s = (2.0 * self.wait_s).clamp(FIRST_S, LONGEST_S);
        self.next_s = now_s + self.wait_s;
    }

    /// It worked: the next failure is the first again.
    pub fn worked(&mut self) {
        *self = Self::default();
    }

    /// Whether it is time to try.
    pub fn is_due(&self, now_s: f64) -> bool {
        now_s >= self.next_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_a_second_and_begin_anew_after_success() {
        let mut backoff = Backoff::default();
        assert!(backoff.is_due(0.0));
        for wait_s in [0.25, 0.5, 1.0, 1.0] {
            backoff.failed(100.0);
            assert!(!backoff.is_due(100.0 + wait_s - 1e-9) && backoff.is_due(100.0 + wait_s));
        }
        backoff.worked();
        backoff.failed(200.0);
        assert!(backoff.is_due(200.25));
    }
}
