//! Sentences on their way to whoever watches.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};

/// Sentences that may wait. A terminal can stand still for hours, while a sound input comes and goes.
const WAITING: usize = 64;

/// Says sentences, from any thread; never waits.
#[derive(Debug, Clone)]
pub struct Notices {
    told: SyncSender<String>,
    missed: Arc<AtomicU32>,
}

/// Where they come out.
#[derive(Debug)]
pub struct Noticed {
    told: Receiver<String>,
    missed: Arc<AtomicU32>,
}

/// Both ends.
pub fn notices() -> (Notices, Noticed) {
    let (told, heard) = sync_channel(WAITING);
    let missed = Arc::new(AtomicU32::new(0));
    (Notices { told, missed: Arc::clone(&missed) }, Noticed { told: heard, missed })
}

impl Notices {
    /// Says one. While too many wait, it is only counted; when nobody is left to hear it, it is lost.
    pub fn say(&self, sentence: String) {
        if let Err(TrySendError::Full(_)) = self.told.try_send(sentence) {
            self.missed.fetch_add(1, Ordering::Relaxed);
        }
    }
}

impl Noticed {
    /// All that wait, the oldest first, and how many found no room behind them.
    pub fn take(&self) -> impl Iterator<Item = String> {
        let missed = || match self.missed.swap(0, Ordering::Relaxed) {
            0 => None,
            missed => Some(format!("{missed} more notices came than could wait, and are lost")),
        };
        self.told.try_iter().chain(std::iter::once_with(missed).flatten())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_finds_no_room_is_counted() {
        let (notices, noticed) = notices();
        for n in 0..100 {
            notices.say(n.to_string());
        }
        let mut expected: Vec<String> = (0..64).map(|n: u32| n.to_string()).collect();
        expected.push("36 more notices came than could wait, and are lost".to_owned());
        assert_eq!(noticed.take().collect::<Vec<_>>(), expected);
        notices.say("again".to_owned());
        assert_eq!(noticed.take().collect::<Vec<_>>(), ["again"]);
        drop(noticed);
        notices.say("nobody is left to hear it".to_owned());
    }
}
