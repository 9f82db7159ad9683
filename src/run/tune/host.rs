//! The host between engine and pages: it owns the work, answers pages, builds mappings, and turns
//! looks into what pages are shown. It runs on a thread that may take its time.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

use axum::extract::ws::Utf8Bytes;
use ringbuf::traits::{Consumer, Observer, Producer};
use ringbuf::{HeapCons, HeapProd};
use serde_json::json;
use tokio::sync::mpsc;

use super::BoardLook;
use super::asks::{Ask, HandsAsked, Said, Shows};
use super::beside::Edit;
use super::edit::{Outcome, Work};
use super::fluid::Preview;
use super::glance::{Glance, More};
use super::spectrum::Spectrum;
use super::talk::refused;
use crate::audio::{SampleBlock, SoundFormat};
use crate::engine::Listener;
use crate::frame::Hands;
use crate::run::live::Controls;

/// Between two looks at the rings.
const TURN: Duration = Duration::from_millis(6);
/// Wishes of pages answered between two looks.
const AT_ONCE: usize = 64;
/// How often pages are told how the work stands, at most: a drag changes it sixty times a second.
const STANDING: Duration = Duration::from_millis(60);
/// How often drafts are kept, files looked at, and pages told how it goes.
const SLOWLY: Duration = Duration::from_millis(500);

/// The host's ends of all rings.
pub(super) struct Ends {
    pub(super) full: HeapCons<Box<Glance>>,
    pub(super) empty: HeapProd<Box<Glance>>,
    pub(super) edits: HeapProd<Edit>,
    pub(super) spent: HeapCons<Edit>,
    pub(super) sound: HeapCons<f32>,
}

/// Everything that pages reach.
pub(super) struct Host<'a> {
    pub(super) work: Work,
    pub(super) asks: Receiver<Ask>,
    pub(super) shows: Shows,
    pub(super) ends: Ends,
    pub(super) sound: SoundFormat,
    /// Instants of sound in a frame.
    pub(super) frame_instants: usize,
    pub(super) spectrum: Spectrum,
    pub(super) fluid: Preview,
    pub(super) controls: Arc<Controls>,
    pub(super) late: Option<Arc<AtomicU32>>,
    pub(super) board: &'a mut dyn FnMut() -> Option<BoardLook>,
    pub(super) tell: &'a mut dyn FnMut(&str),
    pub(super) notes: State,
}

/// What the host remembers.
#[derive(Default)]
pub(super) struct State {
    pages: BTreeMap<u32, mpsc::Sender<Utf8Bytes>>,
    holder: Option<u32>,
    edit: u32,
    /// An edit that found no room yet; a newer one takes its place.
    waiting: Option<Edit>,
    changed: bool,
    told: Option<Instant>,
    slowly: Option<Instant>,
    piece: Vec<f32>,
    draft_fails: bool,
}

impl Host<'_> {
    /// Serves until the engine has ended.
    pub(super) fn run(&mut self, first: Outcome, ended: impl Fn() -> bool) {
        self.notes.piece = vec![0.0; 8192 * usize::from(self.sound.channels.max(1))];
        self.settle(first);
        self.notes.changed = true;
        while !ended() {
            self.answer();
            self.hear();
            self.show();
            self.hand_over();
            let now = Instant::now();
            let since = |then: Option<Instant>| then.map_or(Duration::MAX, |then| now - then);
            if self.notes.changed && since(self.notes.told) >= STANDING {
                self.notes.told = Some(now);
                self.notes.changed = false;
                let standing = self.standing();
                self.shows.standing.send_replace(standing);
            }
            if since(self.notes.slowly) >= SLOWLY {
                self.notes.slowly = Some(now);
                self.slowly();
            }
        }
        self.keep_draft();
    }

    fn answer(&mut self) {
        let mut next = self.asks.recv_timeout(TURN);
        for _ in 0..AT_ONCE {
            match next {
                Ok(ask) => self.ask(ask),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return,
            }
            next = self.asks.recv_timeout(Duration::ZERO);
        }
    }

    fn ask(&mut self, ask: Ask) {
        match ask {
            Ask::Join(page, to_page) => {
                self.notes.pages.insert(page, to_page);
                if self.notes.holder.is_none() {
                    self.notes.holder = Some(page);
                }
                self.notes.changed = true;
            }
            Ask::Leave(page) => {
                self.notes.pages.remove(&page);
                if self.notes.holder == Some(page) {
                    self.notes.holder = None;
                    self.notice("the page that was editing is gone: any page may take over");
                }
                self.notes.changed = true;
            }
            Ask::Entered(next) => {
                (self.tell)(&format!("somebody entered; the next address is {next}"));
            }
            Ask::Said(page, said) => self.said(page, &said),
        }
    }

    fn said(&mut self, page: u32, said: &Said) {
        let holds = self.notes.holder == Some(page);
        if said.take && !holds {
            let before = self.notes.holder.replace(page);
            self.notes.changed = true;
            self.notice(&match before {
                Some(before) => format!("page {page} took editing over from page {before}"),
                None => format!("page {page} is editing now"),
            });
        }
        let mut answer = Ok(());
        if let Some(hands) = said.hands {
            answer = self.hands(hands, holds);
        }
        if let Some(act) = &said.act {
            answer = if holds {
                self.work.act(act).map(|outcome| self.settle(outcome))
            } else {
                Err("another page is editing: take over first".to_owned())
            };
        }
        let answer = match answer {
            Ok(()) => json!({ "kind": "answer", "id": said.id, "ok": true }).to_string().into(),
            Err(sentence) => refused(said.id, &sentence),
        };
        self.tell_page(page, answer);
    }

    /// All off is for everyone; whatever drives is for the page that edits.
    fn hands(&mut self, asked: HandsAsked, holds: bool) -> Result<(), String> {
        let now = self.controls.hands();
        let stops = asked.all_off && !now.all_off;
        if !holds && !stops {
            return Err("another page is editing: take over first".into());
        }
        let new = Hands {
            all_off: asked.all_off,
            hold: asked.hold,
            level_percent: asked.level_percent.min(100),
            ..now
        };
        self.controls.set(if holds { new } else { Hands { all_off: true, ..now } });
        self.notes.changed = true;
        Ok(())
    }

    fn settle(&mut self, outcome: Outcome) {
        if let Some(listener) = outcome.listener {
            self.play(listener);
        }
        if let Some(notice) = outcome.notice {
            self.notice(&notice);
        }
        self.notes.changed = true;
    }

    /// Sends a mapping on its way to the engine, having heard what was played lately.
    fn play(&mut self, mut listener: Box<Listener>) {
        if let Some(recent) = SampleBlock::new(self.spectrum.recent(), self.sound.channels) {
            listener.warm(recent, self.frame_instants);
        }
        self.notes.edit = self.notes.edit.wrapping_add(1);
        self.notes.waiting = Some(Edit { number: self.notes.edit, listener });
        self.hand_over();
    }

    fn hand_over(&mut self) {
        // What the engine gave back is dropped here, where that may take its time.
        drop(self.ends.spent.pop_iter().last());
        if let Some(edit) = self.notes.waiting.take()
            && let Err(edit) = self.ends.edits.try_push(edit)
        {
            self.notes.waiting = Some(edit);
        }
    }

    fn hear(&mut self) {
        loop {
            let channels = usize::from(self.sound.channels.max(1));
            let whole = self.ends.sound.occupied_len() / channels * channels;
            let room = whole.min(self.notes.piece.len());
            let Some(piece) = self.notes.piece.get_mut(..room).filter(|it| !it.is_empty()) else {
                return;
            };
            self.ends.sound.pop_slice(piece);
            self.spectrum.push(piece);
        }
    }

    /// Every look steps the fluid; pages are shown the last.
    fn show(&mut self) {
        let mut last: Option<Box<Glance>> = None;
        while let Some(glance) = self.ends.full.try_pop() {
            self.fluid.follow(&glance.duties);
            if let Some(before) = last.replace(glance) {
                let _ = self.ends.empty.try_push(before);
            }
        }
        let Some(glance) = last else { return };
        if self.shows.look.receiver_count() > 1 {
            let more = More {
                heard_s: glance.heard_instants as f64 / f64::from(self.sound.rate_hz),
                late: self.late.as_ref().map_or(0, |late| late.load(Ordering::Relaxed)),
                fluid: self.fluid.heights(),
                spectrum: self.spectrum.levels(),
            };
            let bytes = glance.bytes(&more);
            self.shows.look.send_replace(bytes.into());
        }
        // As many boxes as the ring has room.
        let _ = self.ends.empty.try_push(glance);
    }

    fn standing(&self) -> Utf8Bytes {
        let standing = self.work.standing();
        let hands = self.controls.hands();
        let edit = self.notes.edit;
        json!({
            "kind": "standing",
            "edit": edit,
            "holder": self.notes.holder,
            "pages": self.notes.pages.len(),
            "hands": HandsAsked {
                all_off: hands.all_off,
                hold: hands.hold,
                level_percent: hands.level_percent,
            },
            "work": standing,
        })
        .to_string()
        .into()
    }

    fn slowly(&mut self) {
        self.keep_draft();
        if let Some(outcome) = self.work.look_outside() {
            self.settle(outcome);
        }
        let status = json!({ "kind": "status", "board": (self.board)() });
        self.shows.status.send_replace(status.to_string().into());
    }

    fn keep_draft(&mut self) {
        match self.work.keep_draft() {
            Ok(()) => self.notes.draft_fails = false,
            Err(error) if !self.notes.draft_fails => {
                self.notes.draft_fails = true;
                self.notice(&format!(
                    "changes cannot be kept beside the file until saved: {error}"
                ));
            }
            Err(_) => {}
        }
    }

    fn notice(&mut self, text: &str) {
        (self.tell)(text);
        let message: Utf8Bytes = json!({ "kind": "notice", "text": text }).to_string().into();
        let pages: Vec<u32> = self.notes.pages.keys().copied().collect();
        for page in pages {
            self.tell_page(page, message.clone());
        }
    }

    /// A page that does not read its answers is cut off.
    fn tell_page(&mut self, page: u32, message: Utf8Bytes) {
        let full = self.notes.pages.get(&page).is_some_and(|to| to.try_send(message).is_err());
        if full {
            self.notes.pages.remove(&page);
        }
    }
}
