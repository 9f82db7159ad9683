//! Hands on their way from whoever reads keys to the engine's thread.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use crate::frame::Hands;

/// What hands have set, and whether the show is to end. One for each show; anyone may hold it.
#[derive(Debug)]
pub struct Controls {
    hands: AtomicU32,
    stop: Arc<AtomicBool>,
}

impl Controls {
    /// Hands off. The show ends when `stop` is raised.
    pub fn new(stop: Arc<AtomicBool>) -> Self {
        Self { hands: AtomicU32::new(u32::from_le_bytes(Hands::FREE.to_bytes())), stop }
    }

    /// What hands have set.
    pub fn hands(&self) -> Hands {
        Hands::from_bytes(self.hands.load(Ordering::Relaxed).to_le_bytes())
    }

    /// Sets them from the next frame on.
    pub fn set(&self, hands: Hands) {
        self.hands.store(u32::from_le_bytes(hands.to_bytes()), Ordering::Relaxed);
    }

    /// Ends the show after the block that is being heard.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// The flag that ends it, for whoever can only raise a flag.
    pub fn flag(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.stop)
    }

    /// True once it is to end.
    pub fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}
