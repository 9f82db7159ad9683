//! Keeps a stream open: watches it, drops it when it is dead, opens it anew.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{SyncSender, TrySendError};
use std::thread;

use super::intake::{Drain, Gauges};
use super::stream::{GRAVE, Opened, Plan, open};
use crate::audio::patience::{LOOK, back_off, wait};

/// How long a stream that has delivered may pause, ns, before it counts as dead.
const PAUSE_NS: u64 = 1_000_000_000;

/// How long a fresh stream may take to deliver, ns. A null sink of a sound server that nobody has
/// asked for speed wakes every 2 s.
const WARM_UP_NS: u64 = 4_000_000_000;

/// What the keeper tells the reader.
pub(super) enum News {
    /// A stream runs; it arrives here, so many instants at a time.
    Opened(Drain, u32),
    /// The stream is gone, or did not open; why.
    Lost(String),
}

/// What ends a keeper.
pub(super) type Quit = Arc<AtomicBool>;

/// What is known of a stream at one look.
#[derive(Debug, Clone, Copy)]
struct Signs {
    grave: u8,
    blocks: u64,
    /// Since the last block, or since it was opened.
    quiet_ns: u64,
}

/// Why the stream has to be dropped, if it has to.
fn verdict(signs: Signs) -> Option<&'static str> {
    if let Some(place) = usize::from(signs.grave).checked_sub(1) {
        return Some(GRAVE.get(place).map_or("an unknown error", |(_, words)| words));
    }
    match signs.blocks {
        0 if signs.quiet_ns > WARM_UP_NS => Some("it opened but never delivered"),
        0 => None,
        _ if signs.quiet_ns > PAUSE_NS => Some("it stopped delivering"),
        _ => None,
    }
}

/// Runs until told to quit. Takes the stream that is open already.
pub(super) fn keep(
    plan: &Plan,
    first: cpal::Stream,
    gauges: &Arc<Gauges>,
    news: &SyncSender<News>,
    quit: &Quit,
) {
    let mut stream = Some(first);
    let mut failed = 0;
    let mut opened_ns = gauges.now_ns();
    // The reader hears of each new reason once, not of every attempt.
    let mut told = String::new();
    while !quit.load(Ordering::Relaxed) {
        if stream.is_some() {
            thread::sleep(LOOK);
            let blocks = gauges.blocks.load(Ordering::Acquire);
            let since_ns =
                if blocks == 0 { opened_ns } else { gauges.last_ns.load(Ordering::Relaxed) };
            let signs = Signs {
                grave: gauges.grave.load(Ordering::Relaxed),
                blocks,
                quiet_ns: gauges.now_ns().saturating_sub(since_ns),
            };
            if blocks > 0 {
                failed = 0;
                told.clear();
            }
            if let Some(why) = verdict(signs) {
                stream = None;
                gauges.alive.store(0, Ordering::Relaxed);
                gauges.losses.fetch_add(1, Ordering::Relaxed);
                tell(news, &mut told, why);
                gauges.wake();
            }
            continue;
        }
        wait(back_off(failed), quit);
        failed += 1;
        match open(plan, gauges) {
            Ok(Opened { stream: fresh, drain, granted }) => {
                match news.try_send(News::Opened(drain, granted)) {
                    Ok(()) => {
                        opened_ns = gauges.now_ns();
                        stream = Some(fresh);
                        gauges.wake();
                    }
                    // The reader stands still: another stream for it later.
                    Err(TrySendError::Full(_)) => {}
                    Err(TrySendError::Disconnected(_)) => return,
                }
            }
            Err(error) => tell(news, &mut told, &error.to_string()),
        }
    }
}

fn tell(news: &SyncSender<News>, told: &mut String, why: &str) {
    if told != why {
        // Nobody listens any more when the source is gone; then the quit flag is up as well. A
        // reader that stands still hears of it later.
        if news.try_send(News::Lost(why.to_owned())).is_ok() {
            *told = why.to_owned();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_is_dropped_for_an_error_a_pause_or_a_start_that_never_comes() {
        let signs =
            |grave, blocks, quiet_ms: u64| Signs { grave, blocks, quiet_ns: quiet_ms * 1_000_000 };
        assert_eq!(verdict(signs(0, 5, 900)), None);
        assert!(verdict(signs(0, 5, 1100)).is_some());
        assert_eq!(verdict(signs(0, 0, 3900)), None, "a slow start");
        assert!(verdict(signs(0, 0, 4100)).is_some());
        assert_eq!(verdict(signs(1, 5, 0)), Some(GRAVE[0].1));
        assert_eq!(verdict(signs(9, 5, 0)), Some(GRAVE[8].1));
        assert_eq!(verdict(signs(200, 0, 0)), Some("an unknown error"));
    }
}
