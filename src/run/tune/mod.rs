//! Tuning: a mapping is changed on a page while it plays.
//!
//! ```text
//!  sound -> pump, engine -> board, recording        frame path: nothing waits or takes memory
//!             ^      |
//!      edits  |      | looks, sound                  rings; what is full drops
//!             |      v
//!            host: work, files, fluid, spectrum      builds mappings, answers, may take its time
//!             ^      |
//!      wishes |      | newest look, standing
//!             |      v
//!            server: one conversation for each page  a thread of its own
//! ```
//!
//! [`edit`] is the work itself and knows no page. [`looped`] is the song at the pace of the clock;
//! `beside` stands at the engine; `host` is the middle; `server` and `talk` face the network, and `door`
//! says who may enter. The page is in `page/`, shipped inside the program.
#![allow(clippy::disallowed_methods, reason = "tuning has clocks, threads, sockets and files")]

mod asks;
mod beside;
mod door;
pub mod edit;
mod fluid;
mod glance;
mod host;
pub mod looped;
mod page;
mod server;
mod spectrum;
mod talk;
mod wave;

use std::io;
use std::net::IpAddr;
use std::sync::Arc;
use std::sync::atomic::AtomicU32;
use std::sync::mpsc::sync_channel;
use std::thread;

use ringbuf::HeapRb;
use ringbuf::traits::{Producer, Split};
use serde::Serialize;
use serde_json::json;
use thiserror::Error;

use crate::audio::Source;
use crate::preset::{Display, Names};
use crate::run::line::Line;
use crate::run::live::{Controls, Notices, Outlet, Recording};
use crate::run::pump::{PumpError, Pumped, pump};
use crate::sink::Sink;
use crate::units::{Rate, Seconds};

use beside::{Rings, Watcher};
pub use door::outer;
use edit::{Outcome, Work};
use fluid::Preview;
use glance::{Glance, Sizes};
use host::{Ends, Host};
pub use looped::{Looped, Song};
use server::{Goods, Server};
use spectrum::Spectrum;

/// Looks a second at most: what eyes can follow.
const LOOKS_PER_S: f64 = 60.0;
/// Looks under way; more are dropped.
const LOOKS: usize = 8;
/// Edits under way.
const EDITS: usize = 2;
/// Room for sound between engine and host, s.
const SOUND_S: f64 = 0.5;
/// Sound that a new mapping has heard before it is taken in, s.
const RECENT_S: f64 = 4.0;
/// Wishes of pages that may wait.
const ASKS: usize = 256;

/// How boards stand, for pages.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoardLook {
    /// In a word.
    pub state: String,
    /// Why, where there is more to say.
    pub sentence: Option<String>,
    /// Frames sent.
    pub sent: u64,
    /// Frames skipped because they were late.
    pub skipped: u64,
    /// Frames begun that the line did not take to their end.
    pub abandoned: u64,
    /// Its own temperature, C.
    pub temperature_c: Option<f64>,
}

/// What is tuned.
pub struct Tuning<'a> {
    /// The work, and what is to be played instead of what the line was built with.
    pub work: (Work, Outcome),
    /// The display, as the engine has it.
    pub display: &'a Display,
    /// Its names.
    pub names: Names,
    /// Hands, and the wish to end.
    pub controls: Arc<Controls>,
    /// The song, where there is one; pages play it in step.
    pub song: Option<Song>,
    /// Blocks that came late, counted by the source.
    pub late: Option<Arc<AtomicU32>>,
    /// Port of the page; 0 takes a free one.
    pub port: u16,
    /// Address of this computer by which others may come.
    pub open_to: Option<IpAddr>,
    /// Frames are kept there as well.
    pub recording: Option<Recording>,
}

/// Whom the run tells.
pub struct Tellers<'a> {
    /// Told the temperatures after each frame, on the engine's thread; false ends the run.
    pub heat: &'a mut (dyn FnMut(&[f64]) -> bool + Send),
    /// Sentences about the recording.
    pub notices: Notices,
    /// How the boards stand; `None` without any.
    pub board: &'a mut dyn FnMut() -> Option<BoardLook>,
    /// Sentences for the terminal.
    pub tell: &'a mut dyn FnMut(&str),
}

/// Why tuning could not begin or go on.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum TuneError {
    /// The page cannot be served.
    #[error(
        "the page cannot be served: {0}; try another --page-port, and an address of this computer"
    )]
    Serve(io::Error),
    /// No thread for the engine.
    #[error("no thread for the engine: {0}")]
    Thread(io::Error),
    /// The engine's thread broke down.
    #[error("the engine broke down; all coils were switched off")]
    Broken,
    /// The sound or the board failed.
    #[error(transparent)]
    Pump(#[from] PumpError),
}

/// How it ended.
pub struct Tuned {
    /// The sound came to its end, or the run was stopped.
    pub pumped: Pumped,
    /// It ended because the heat could not be kept.
    pub heat_lost: bool,
    /// To be ended, now that all is off; `None` where it ended by itself.
    pub recording: Option<Recording>,
}

/// Plays `source` through `line` into `sink` and serves the page until the sound ends or the controls
/// say so. The host works on the calling thread, the engine on one of its own.
///
/// # Errors
/// [`TuneError`]; all coils are off in every case.
pub fn tune(
    tuning: Tuning<'_>,
    line: &mut Line,
    source: &mut (dyn Source + Send),
    sink: &mut (dyn Sink + Send),
    tellers: Tellers<'_>,
) -> Result<Tuned, TuneError> {
    let sound = source.format();
    let rate = line.engine.rate();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 17")]
    let every = (rate.per_second() / LOOKS_PER_S).ceil().max(1.0) as u32;
    let (num, den) = rate.ratio();
    // Looks are some frames apart; a rate that is out of bounds is that of the frames.
    let looks = Rate::new(num, den.saturating_mul(every)).unwrap_or(rate);
    let fluid = Preview::new(tuning.display.fluid_lag(), line.names.coils.len(), looks);
    let about = about(&tuning, line, source.format().rate_hz, fluid.lag());
    let (rings, ends) = rings(line, sound);
    let (asks, asked) = sync_channel(ASKS);
    let (shows, shown) = asks::shows();
    let goods = Goods { asks, shown, song: tuning.song.clone(), about };
    let server = Server::start(tuning.port, tuning.open_to, goods).map_err(TuneError::Serve)?;
    (tellers.tell)(&format!("the page is at {}", server.address));
    if let Some(outer) = &server.outer {
        (tellers.tell)(&format!("for one other browser, once: {outer}"));
    }
    let (work, first) = tuning.work;
    let recording = tuning.recording;
    let mut host = Host {
        work,
        asks: asked,
        shows,
        ends,
        sound,
        frame_instants: frame_instants(sound.rate_hz, rate.per_second()),
        spectrum: Spectrum::new(sound, RECENT_S),
        fluid,
        controls: Arc::clone(&tuning.controls),
        late: tuning.late,
        board: tellers.board,
        tell: tellers.tell,
        notes: host::State::default(),
    };
    let (steps, coils) = (steps_of(tuning.display), line.names.coils.len());
    let controls = tuning.controls;
    let tuned = thread::scope(|scope| {
        let (heat, notices, line) = (tellers.heat, tellers.notices, &mut *line);
        let watched = Arc::clone(&controls);
        let engine = thread::Builder::new().name("engine".into()).spawn_scoped(scope, move || {
            let mut note = |node_c: &[f64]| heat(node_c);
            let mut watcher = Watcher::new(watched, rings, every, steps, coils, &mut note);
            let mut outlet = Outlet::new(sink, recording, notices);
            let Line { engine, metering, .. } = line;
            let pumped = pump(source, engine, &mut outlet, metering, &mut watcher)?;
            let recording = outlet.release();
            Ok::<_, PumpError>(Tuned { pumped, heat_lost: watcher.heat_lost(), recording })
        });
        let engine = engine.map_err(TuneError::Thread)?;
        host.run(first, || engine.is_finished());
        engine.join().map_err(|_| TuneError::Broken)?.map_err(TuneError::Pump)
    });
    drop(server);
    tuned
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "8 to 192,000")]
fn frame_instants(rate_hz: u32, per_second: f64) -> usize {
    (f64::from(rate_hz) / per_second).round().max(1.0) as usize
}

fn steps_of(display: &Display) -> f32 {
    display.driver.steps as f32
}

fn rings(line: &Line, sound: crate::audio::SoundFormat) -> (Rings, Ends) {
    let load = line.engine.budget().load();
    let sizes =
        Sizes { coils: line.names.coils.len(), nodes: load.node_c.len(), rails: load.rail_a.len() };
    let channels = usize::from(sound.channels.max(1));
    let (full, see_full) = HeapRb::new(LOOKS).split();
    let (mut give_empty, empty) = HeapRb::new(LOOKS).split();
    give_empty.push_iter((0..LOOKS).map(|_| Box::new(Glance::new(sizes))));
    let (edits, take_edits) = HeapRb::new(EDITS).split();
    // Never too full for what went in.
    let (spent, see_spent) = HeapRb::new(EDITS + 2).split();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "half a second")]
    let room = (SOUND_S * f64::from(sound.rate_hz)) as usize * channels;
    let (hear, heard) = HeapRb::new(room).split();
    let rings = Rings { full, empty, edits: take_edits, spent, sound: hear };
    let ends = Ends { full: see_full, empty: give_empty, edits, spent: see_spent, sound: heard };
    (rings, ends)
}

/// What does not change while tuning.
fn about(tuning: &Tuning<'_>, line: &Line, rate_hz: u32, lag: Seconds) -> String {
    let display = tuning.display;
    let places = display.blocks.iter().flat_map(|block| block.place.value.places());
    let coils = tuning.names.coils.iter().zip(places).map(|(coil, place)| {
        let (x_mm, y_mm) = (place.x_mm.0, place.y_mm.0);
        json!({ "label": coil.label, "group": coil.group, "x_mm": x_mm, "y_mm": y_mm })
    });
    let rails = display.rails.iter();
    let budget = line.engine.budget();
    json!({
        "kind": "about",
        "display": display.name,
        "groups": tuning.names.groups,
        "coils": coils.collect::<Vec<_>>(),
        "two_way": display.driver.two_way(),
        "bound_c": budget.bound_c(),
        "room_c": budget.room_c(),
        "rails": rails.map(|rail| json!({ "name": rail.name.value, "limit_a": rail.limit_a.value }))
            .collect::<Vec<_>>(),
        "frames_per_s": line.engine.rate().per_second(),
        "sound_rate_hz": rate_hz,
        "song": tuning.song.as_ref().map(|song| json!({ "name": song.name, "seconds": song.seconds() })),
        "fluid_lag_s": lag.0,
        "spectrum_hz": spectrum::EDGES_HZ,
        "form": crate::preset::form::form(),
    })
    .to_string()
}
