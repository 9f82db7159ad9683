//! The file itself: read at the start, kept by a thread of its own.
#![allow(
    clippy::disallowed_methods,
    reason = "files, clocks and a thread are what keeps heat between runs"
)]

use std::fs::{self, File, TryLockError};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::{Known, Moment, Record, Unknown, read};
use crate::budget::{BudgetSettings, Start};
use crate::preset::Display;
use crate::sink::SinkError;
use crate::sink::part::Part;

/// How often a heat file is written, s.
pub const KEPT_EVERY_S: f64 = 2.0;

/// A display whose heat could be neither written nor forgotten for this long must not be driven on,
/// s. Below [`LEASE_S`](super::LEASE_S), so that a reader never counts too little.
pub const STUCK_S: f64 = 8.0;

/// Far above any heat file; keeps a wrong path from filling the memory.
const LARGEST_BYTES: u64 = 16 << 20;

/// Where the heat of a display is kept unless told otherwise: `ring.heat` beside `ring.toml`, and
/// beside the file itself where the path is a link to it.
pub fn beside(display: &Path) -> PathBuf {
    let real = fs::canonicalize(display);
    real.as_deref().unwrap_or(display).with_extension("heat")
}

/// A heat file and the display that it is for.
#[derive(Debug, Clone)]
pub struct HeatFile {
    path: PathBuf,
    digest: String,
    name: String,
    hold_ms: f64,
}

impl HeatFile {
    /// The heat of `display` at `path`.
    pub fn new(path: impl Into<PathBuf>, display: &Display) -> Self {
        Self {
            path: path.into(),
            digest: display.digest_hex(),
            name: display.name.clone(),
            hold_ms: display.driver.hold_ms,
        }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What is known of the heat at `now`.
    ///
    /// # Errors
    /// [`Unknown`] when there is no file, or it is not to be believed: start as unknown.
    pub fn known(&self, settings: &BudgetSettings, now: &Moment) -> Result<Known, Unknown> {
        let mut text = String::new();
        let file = File::open(&self.path);
        let read_text = file.and_then(|file| file.take(LARGEST_BYTES).read_to_string(&mut text));
        match read_text {
            Ok(_) => read(&text, &self.digest, settings, now),
            Err(error) if error.kind() == ErrorKind::NotFound => Err(Unknown::Missing),
            Err(error) if error.kind() == ErrorKind::InvalidData => Err(Unknown::Torn),
            Err(error) => Err(Unknown::Unreadable(error.to_string())),
        }
    }

    /// The start for a budget at `now`, and why it is unknown where it is.
    pub fn start(&self, settings: &BudgetSettings, now: &Moment) -> (Start, Option<Unknown>) {
        match self.known(settings, now) {
            Ok(known) => (Start::Nodes(known.node_c), None),
            Err(why) => (Start::Unknown, Some(why)),
        }
    }

    /// Writes the heat at the first frame at once, and keeps it from then on.
    ///
    /// # Errors
    /// When the file cannot be written. Drive nothing then: an old file would stay.
    pub fn keep(&self, node_c: &[f64]) -> Result<Keeper, SinkError> {
        let first = write(&self.path, &self.record(Moment::now(), node_c))?;
        let shared = Arc::new(Shared {
            node_c: Mutex::new(node_c.to_vec()),
            file: Mutex::new(self.clone()),
            ending: Mutex::new(false),
            woken: Condvar::new(),
            began: Instant::now(),
            kept_ms: AtomicU64::new(0),
        });
        let for_thread = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("heat file".into())
            .spawn(move || for_thread.run(first))
            .map_err(|error| SinkError::Place {
                path: self.path.clone(),
                why: error.to_string(),
            })?;
        Ok(Keeper { shared, thread: Some(thread) })
    }

    /// Whether another run keeps it right now: drive nothing then, as two would know of half of the
    /// heat each. Where the system knows no locks it is never so.
    pub fn is_kept(&self) -> bool {
        let file = File::options().read(true).write(true).open(&self.path);
        file.is_ok_and(|file| matches!(file.try_lock(), Err(TryLockError::WouldBlock)))
    }

    /// Removes it: whatever it says is no longer true.
    ///
    /// # Errors
    /// When it is there and cannot be removed.
    pub fn forget(&self) -> Result<(), SinkError> {
        forget(&self.path)
    }

    fn record(&self, written: Moment, node_c: &[f64]) -> Record {
        Record::new(&self.digest, &self.name, self.hold_ms, written, node_c)
    }
}

/// Keeps the heat of a display that is driven. Drop it once the coils are off: that closes the file.
#[derive(Debug)]
pub struct Keeper {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    node_c: Mutex<Vec<f64>>,
    file: Mutex<HeatFile>,
    ending: Mutex<bool>,
    woken: Condvar,
    began: Instant,
    /// When the file last told no lie, ms after `began`.
    kept_ms: AtomicU64,
}

impl Keeper {
    /// Takes note of the model's temperatures, as [`Load::node_c`](crate::budget::Load::node_c) has
    /// them. Never waits and never allocates; what meets the writer at work is left to the next
    /// frame.
    pub fn note(&self, node_c: &[f64]) {
        if let Ok(mut kept) = self.shared.node_c.try_lock() {
            for (kept, now) in kept.iter_mut().zip(node_c) {
                *kept = *now;
            }
        }
    }

    /// True when the file could be neither written nor removed for [`STUCK_S`]: end the run.
    pub fn is_stuck(&self) -> bool {
        let kept_ms = self.shared.kept_ms.load(Ordering::Relaxed);
        let since_ms = self.shared.up_ms().saturating_sub(kept_ms);
        since_ms as f64 > STUCK_S * 1000.0
    }

    /// The display file was rewritten and is known by another digest now.
    pub fn renamed(&self, display: &Display) {
        let mut file = held(&self.shared.file);
        *file = HeatFile::new(file.path.clone(), display);
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        *held(&self.shared.ending) = true;
        self.shared.woken.notify_all();
        if let Some(thread) = self.thread.take() {
            // Had it panicked, the file would still say that the display is driven, which is safe.
            let _ = thread.join();
        }
    }
}

impl Shared {
    /// `locked` is the file as it was written last. Its lock stays with it under its name, and tells
    /// other runs that it is kept.
    fn run(&self, mut locked: File) {
        let mut now_c = held(&self.node_c).clone();
        loop {
            let ending = held(&self.ending);
            let every = Duration::from_secs_f64(KEPT_EVERY_S);
            let waited = self.woken.wait_timeout_while(ending, every, |ending| !*ending);
            let ending = *waited.unwrap_or_else(PoisonError::into_inner).0;
            // The time first: the temperatures that are then read are those of this moment or of one
            // after it, so no heating is missing from them.
            let (began_ms, now) = (self.up_ms(), Moment::now());
            now_c.copy_from_slice(&held(&self.node_c));
            let file = held(&self.file).clone();
            let record = file.record(now, &now_c);
            let record = if ending { record.closed() } else { record };
            let written = write(&file.path, &record);
            if written.is_ok() || forget(&file.path).is_ok() {
                self.kept_ms.store(began_ms, Ordering::Relaxed);
            }
            if let Ok(next) = written {
                locked = next;
            }
            if ending {
                drop(locked);
                return;
            }
        }
    }

    fn up_ms(&self) -> u64 {
        u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX)
    }
}

/// Nothing here leaves a value half changed, so one whose holder panicked is still good.
fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Whole or not at all; the file, locked.
fn write(path: &Path, record: &Record) -> Result<File, SinkError> {
    let (part, mut file) = Part::create(path)?;
    let written = file.write_all(record.to_text().as_bytes()).and_then(|()| part.settle(&file));
    match written {
        Ok(()) => Ok(file),
        Err(error) => {
            part.discard();
            Err(SinkError::Place { path: path.to_owned(), why: error.to_string() })
        }
    }
}

fn forget(path: &Path) -> Result<(), SinkError> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != ErrorKind::NotFound => {
            Err(SinkError::Place { path: path.to_owned(), why: error.to_string() })
        }
        _ => {
            // So that it stays away if the power goes now. Not every system can.
            if let Some(Ok(folder)) = path.parent().map(File::open) {
                let _ = folder.sync_all();
            }
            Ok(())
        }
    }
}
