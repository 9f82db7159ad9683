//! One line, without the line: bytes in, bytes out, time as an argument.
//!
//! The thread of a port asks for [`turn`](Link::turn)s and writes what it is given; whatever it
//! reads goes to [`heard`](Link::heard).

use std::sync::Arc;

use super::greeting::{Greeting, Stage};
use super::line::{Line, check_board};
use super::pacer::Pacer;
use super::report::{BoardReport, LineState};
use super::ring::{Entry, Taker};
use super::settings::{BoardSettings, Wiring};
use crate::frame::wire::hello::{LONGEST_HELLO, MOST_CHANNELS};
use crate::frame::wire::line::duty_bytes;
use crate::frame::wire::status::{LONGEST_STATUS, Status};
use crate::frame::wire::{DELIMITER, Decoder, Encoder, Kind};

/// A greeted board that says nothing for so long, s, is asked anew. It should speak ten times a
/// second.
const SILENT_S: f64 = 1.5;

/// Bytes that a port has not taken after this, s, are given up: it is stuck.
const STUCK_S: f64 = 0.2;

/// The longest an OFF waits for its turn behind frames, s.
const LONGEST_WAIT_FOR_OFF_S: f64 = 0.3;

pub(super) struct Link {
    settings: BoardSettings,
    number: u16,
    greeting: Greeting,
    pacer: Pacer,
    line: Line,
    encoder: Encoder,
    decoder: Decoder,
    payload: Vec<u8>,
    means: Vec<u16>,
    /// Bytes of one packet, how many of them the port took, and since when it has them.
    out: Vec<u8>,
    taken: usize,
    since_s: f64,
    /// What is in `out` is a frame, and not yet counted.
    uncounted: bool,
    /// A packet was cut off: the next begins with a delimiter.
    torn: bool,
    /// An OFF is in `out` and not on the line yet.
    owes_off: bool,
    open: bool,
    heard_s: f64,
    /// Number that OFF carries.
    next: u32,
    report: BoardReport,
}

impl Link {
    pub(super) fn new(settings: &BoardSettings, wiring: &Wiring, baud: u32) -> Self {
        let largest = usize::from(MOST_CHANNELS) * 4;
        Self {
            greeting: Greeting::new(settings, wiring),
            pacer: Pacer::new(settings.rate, settings.block_s, settings.late_s),
            line: Line::new(baud),
            encoder: Encoder::new(LONGEST_HELLO),
            // A newer minor version may add to what these hold.
            decoder: Decoder::new(2 * LONGEST_STATUS.max(LONGEST_HELLO)),
            payload: Vec::with_capacity(LONGEST_HELLO),
            means: Vec::with_capacity(usize::from(MOST_CHANNELS)),
            out: Vec::with_capacity(2 * largest),
            taken: 0,
            since_s: 0.0,
            uncounted: false,
            torn: false,
            owes_off: false,
            open: false,
            heard_s: 0.0,
            next: 0,
            report: BoardReport::default(),
            number: wiring.number,
            settings: settings.clone(),
        }
    }

    /// The port was opened: whatever the board did before, it is off now, and asked who it is.
    pub(super) fn opened(&mut self, now_s: f64) {
        self.open = true;
        self.torn = true;
        self.greeting.restart(now_s);
        self.begin_off(now_s);
    }

    /// The port is gone.
    pub(super) fn gone(&mut self, why: &str) {
        if self.open {
            self.report.lost += 1;
        }
        self.open = false;
        self.abandon();
        self.owes_off = false;
        self.report.sentence = Some(why.into());
    }

    fn lose(&mut self, why: &str) {
        self.report.lost += 1;
        self.report.sentence = Some(why.into());
    }

    /// What to write now, if anything. Call again after [`wrote`](Self::wrote), until nothing comes.
    pub(super) fn turn(&mut self, queue: &mut Taker, off_now: bool, now_s: f64) -> Option<&[u8]> {
        self.take_in(queue);
        if off_now {
            let waiting = queue.waiting();
            self.skip(queue, waiting);
            if self.open {
                self.begin_off(now_s);
            }
        }
        if self.pending() && now_s - self.since_s > STUCK_S {
            self.abandon();
            // An OFF is never given up: it goes again, whole, once the port takes bytes.
            if self.owes_off {
                self.begin_off(now_s);
            }
        }
        if self.pending() {
            self.skip_late(queue, now_s);
        } else {
            self.choose(queue, now_s);
        }
        if self.pending() { self.out.get(self.taken..) } else { None }
    }

    fn take_in(&mut self, queue: &mut Taker) {
        queue.arrivals(|entry| {
            if !entry.off {
                self.pacer.arrived(entry.number, entry.at_s);
            }
        });
    }

    /// When the next thing is due that is known by now; `None` when nothing is.
    pub(super) fn wake_s(&self, queue: &Taker) -> Option<f64> {
        let number = queue.entry(0)?.number;
        self.pacer.due_s(number).map(|due_s| due_s.max(self.line.ready_s()))
    }

    /// The port took so many of the bytes.
    pub(super) fn wrote(&mut self, bytes: usize, now_s: f64) {
        self.taken += bytes;
        // The first byte of what goes after a torn packet is the delimiter.
        self.torn &= bytes == 0;
        self.owes_off &= self.pending();
        if !self.pending() && std::mem::take(&mut self.uncounted) {
            self.report.sent += 1;
        }
        self.line.gave(bytes, now_s);
    }

    /// Bytes came.
    pub(super) fn heard(&mut self, mut bytes: &[u8], now_s: f64) {
        while let Some(event) = self.decoder.take(&mut bytes) {
            let Ok(packet) = event else { continue };
            match packet.kind {
                Kind::Hello => {
                    let was = self.greeting.stage();
                    self.greeting.heard(packet.payload, now_s);
                    if was == Stage::Ready && self.greeting.stage() != Stage::Ready {
                        self.lose("the board has started anew");
                    }
                    self.heard_s = now_s;
                    if self.greeting.stage() == Stage::Ready {
                        self.check_load();
                    }
                    self.tell();
                }
                Kind::Status => {
                    let Ok(status) = Status::read(packet.payload, &mut self.means) else {
                        continue;
                    };
                    self.heard_s = now_s;
                    self.report.status = Some(status);
                    self.report.statuses += 1;
                    self.report.means = Some(self.means.as_slice().into());
                    if status.not_greeted && self.greeting.stage() == Stage::Ready {
                        self.lose("the board has started anew");
                        self.greeting.restart(now_s);
                    }
                }
                _ => {}
            }
        }
    }

    /// Whether nothing is left that must go out before the end.
    pub(super) fn is_done(&mut self, queue: &mut Taker) -> bool {
        self.take_in(queue);
        let waits = |nth| queue.entry(nth).is_some_and(|entry| entry.off);
        !self.open || !(0..queue.waiting()).any(waits)
    }

    /// Nothing more goes out: what waits is skipped, and what was begun is abandoned.
    pub(super) fn end(&mut self, queue: &mut Taker) {
        self.abandon();
        self.take_in(queue);
        let waiting = queue.waiting();
        self.skip(queue, waiting);
    }

    pub(super) fn report(&self) -> BoardReport {
        let state = match (self.greeting.stage(), self.open) {
            (Stage::Refused, _) => LineState::Refused,
            (_, false) => LineState::Gone,
            (Stage::Asking, true) => LineState::Asking,
            (Stage::Ready, true) => LineState::Ready,
        };
        BoardReport { state, ..self.report.clone() }
    }

    /// The board has said that it is off, and nothing more goes out.
    pub(super) fn said_off(&mut self) {
        self.report.said_off = true;
    }

    /// OFF, with the number of the frame that would come next: all bytes of it.
    pub(super) fn off(&mut self) -> Vec<u8> {
        let mut bytes = vec![DELIMITER];
        bytes.extend_from_slice(self.encoder.off(self.next));
        bytes
    }

    fn pending(&self) -> bool {
        self.taken < self.out.len()
    }

    fn abandon(&mut self) {
        self.report.abandoned += u64::from(std::mem::take(&mut self.uncounted));
        self.torn |= self.pending() && self.taken > 0;
        self.out.clear();
        self.taken = 0;
    }

    /// Makes the packet in the encoder the next to go out.
    fn begin(&mut self, make: impl FnOnce(&mut Encoder) -> Option<&[u8]>, now_s: f64) -> bool {
        self.abandon();
        let Some(packet) = make(&mut self.encoder) else { return false };
        if self.torn {
            self.out.push(DELIMITER);
        }
        self.out.extend_from_slice(packet);
        self.since_s = now_s;
        true
    }

    fn begin_off(&mut self, now_s: f64) {
        let next = self.next;
        self.owes_off = self.begin(|encoder| Some(encoder.off(next)), now_s);
    }

    /// What goes out next, now that nothing is on its way to the port.
    fn choose(&mut self, queue: &mut Taker, now_s: f64) {
        if !self.open || !self.line.is_ready(now_s) {
            return self.skip_late(queue, now_s);
        }
        if self.greeting.stage() == Stage::Ready && now_s - self.heard_s > SILENT_S {
            self.lose("the board has fallen silent");
            self.greeting.restart(now_s);
        }
        if self.greeting.asks(now_s) {
            self.payload.clear();
            self.greeting.ask(now_s).write(&mut self.payload);
            let payload = std::mem::take(&mut self.payload);
            self.begin(|encoder| Some(encoder.packet(Kind::Hello, 0, &payload)), now_s);
            self.payload = payload;
            return;
        }
        self.skip_late(queue, now_s);
        let Some(entry) = queue.entry(0).filter(|entry| self.is_due(*entry, now_s)) else { return };
        if entry.off {
            self.next = entry.number;
            self.begin_off(now_s);
        } else {
            self.begin_duty(queue, entry.number, now_s);
        }
        queue.free(1);
    }

    fn begin_duty(&mut self, queue: &Taker, number: u32, now_s: f64) {
        let (packing, channels) = (self.greeting.packing(), self.greeting.channels());
        let codes = queue.codes().chain(std::iter::repeat(0)).take(channels);
        if self.begin(|encoder| encoder.codes(number, packing, codes).ok(), now_s) {
            self.uncounted = true;
            self.next = number.wrapping_add(1);
            let due_s = self.pacer.due_s(number).unwrap_or(now_s);
            self.report.behind_s = (now_s - due_s).max(0.0);
        } else {
            self.report.skipped += 1;
        }
    }

    fn is_due(&self, entry: Entry, now_s: f64) -> bool {
        let due_s = self.pacer.due_s(entry.number).unwrap_or(now_s);
        let soon_s = if entry.off { entry.at_s + LONGEST_WAIT_FOR_OFF_S } else { f64::INFINITY };
        now_s >= due_s.min(soon_s)
    }

    /// Frees frames that can no longer be of use. Once one is too late, the line has fallen behind,
    /// and the newest that is due goes next: not one that is nearly too late again.
    fn skip_late(&mut self, queue: &mut Taker, now_s: f64) {
        let ready = self.open && self.greeting.stage() == Stage::Ready;
        let frame = |nth: usize| {
            let entry = queue.entry(nth).filter(|entry| !entry.off || !self.open);
            entry.filter(|entry| self.is_due(*entry, now_s))
        };
        let due = (0..queue.waiting()).take_while(|nth| frame(*nth).is_some()).count();
        if !ready {
            self.skip(queue, due);
        } else if self.is_late(queue, now_s) {
            self.skip(queue, due.saturating_sub(1));
            // That one may be too late itself.
            if self.is_late(queue, now_s) {
                self.skip(queue, 1);
            }
        }
    }

    /// Whether the oldest frame is too late to go out.
    fn is_late(&self, queue: &Taker, now_s: f64) -> bool {
        let oldest = queue.entry(0).filter(|entry| !entry.off);
        oldest.is_some_and(|entry| self.pacer.is_stale(entry.number, now_s))
    }

    fn skip(&mut self, queue: &mut Taker, count: usize) {
        let offs = (0..count).filter(|nth| queue.entry(*nth).is_some_and(|entry| entry.off));
        self.report.skipped += (count - offs.count()) as u64;
        queue.free(count);
    }

    /// A board with more channels than the display uses takes longer packets.
    fn check_load(&mut self) {
        let bytes = duty_bytes(self.greeting.packing(), self.greeting.channels());
        if let Err(error) = check_board(&self.settings, self.number, bytes) {
            self.greeting.refuse(error.to_string());
        }
    }

    /// Takes over what the greeting has to say.
    fn tell(&mut self) {
        self.report.board = self.greeting.board().cloned().map(Arc::new);
        match self.greeting.why() {
            Some(why) => self.report.sentence = Some(why.into()),
            None if self.greeting.stage() == Stage::Ready => self.report.sentence = None,
            None => {}
        }
    }
}
