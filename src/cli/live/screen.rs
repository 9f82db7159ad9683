//! The show in a line for people, or in JSON for programs.

use std::io::{IsTerminal, Write};
use std::sync::Arc;

use coilscore::audio::capture::{Gauged, Gauges};
use coilscore::frame::{Hands, Tail};
use coilscore::run::live::Snapshot;
use coilscore::sink::board::{BoardReport, LineState};
use serde_json::{Value, json};

use super::super::{abandoned, print, tell};
use super::driven::Boards;
use super::hands::words;
use super::setup::Ready;
use super::sound_out::Told;
use super::{Args, StatusArg};

/// What is shown, and what is known for it.
pub(super) struct Screen {
    form: StatusArg,
    /// The line is on a terminal and has to be wiped before anything else is printed.
    drawn: bool,
    gauges: Arc<Gauges>,
    gauged: Gauged,
    coils: Vec<String>,
    mappings: Vec<String>,
    rate_hz: u32,
    /// From a click to the band's answer: quickest and slowest band, s.
    bands_s: (f64, f64),
    line_s: f64,
    sound_out: Option<Told>,
    boards: Boards,
    board: Option<BoardReport>,
    driven: bool,
}

/// Where the time goes from the microphone to the coil, ms.
struct Delay {
    capture: f64,
    waiting: f64,
    analysis: f64,
    engine: f64,
    line: f64,
}

impl Delay {
    fn total(&self) -> f64 {
        self.capture + self.waiting + self.analysis + self.engine + self.line
    }
}

impl Screen {
    pub(super) fn new(args: &Args, ready: &Ready) -> Self {
        let delays = ready.line.engine.analysis().bands().iter().map(|band| band.delay_s.0);
        let form = match args.status {
            StatusArg::Line if !std::io::stderr().is_terminal() => StatusArg::None,
            form => form,
        };
        Self {
            form,
            drawn: false,
            gauges: ready.capture.gauges(),
            gauged: Gauged::default(),
            coils: ready.line.names.coils.iter().map(|coil| coil.label.clone()).collect(),
            mappings: ready.mappings.clone(),
            rate_hz: ready.settled.format.rate_hz,
            bands_s: (delays.clone().fold(f64::INFINITY, f64::min), delays.fold(0.0, f64::max)),
            line_s: ready.driven.line_s,
            sound_out: ready.sound_out.as_ref().map(|out| out.told.clone()),
            boards: ready.driven.boards(),
            board: ready.driven.boards().report(),
            driven: !args.dry_run,
        }
    }

    /// How many mappings there are.
    pub(super) fn mappings(&self) -> usize {
        self.mappings.len()
    }

    /// Hands have set something.
    pub(super) fn hands(&mut self, hands: Hands) {
        let words = words(hands, &self.mappings);
        self.notice(if words.is_empty() { "hands off: the music alone" } else { &words });
    }

    /// Something happened.
    pub(super) fn notice(&mut self, notice: &str) {
        self.wipe();
        tell(&format!("coilscore: {notice}"));
    }

    /// Says so when the boards stand otherwise than before.
    pub(super) fn look_at_board(&mut self) {
        let Some(report) = self.boards.report() else { return };
        let before = self.board.as_ref().map(|board| (board.state, board.sentence.clone()));
        if before != Some((report.state, report.sentence.clone())) {
            let why = report.sentence.as_deref().map_or_else(String::new, |why| format!(": {why}"));
            self.notice(&format!("board {}{why}", state_word(report.state)));
        }
        self.board = Some(report);
    }

    /// A second has gone by.
    pub(super) fn second(&mut self, snapshot: &Snapshot) {
        self.gauged = self.gauges.read();
        match self.form {
            StatusArg::Json => {
                // A reader that has gone away has seen enough.
                let _ = print(&format!("{}\n", self.object(snapshot)));
            }
            StatusArg::Line => {
                let text = self.line(snapshot);
                self.wipe();
                self.drawn = true;
                let mut out = std::io::stderr();
                let _ = write!(out, "{text}").and_then(|()| out.flush());
            }
            StatusArg::None => {}
        }
    }

    /// The show in three lines; boards that have not said that they are off.
    pub(super) fn end(&mut self, tail: &Tail) -> Option<String> {
        self.wipe();
        let gauged = self.gauges.read();
        let seconds = |instants: u64| instants as f64 / f64::from(self.rate_hz);
        let not_off = self.boards.not_off();
        let how = if not_off.is_none() { "all off" } else { "ended" };
        tell(&format!(
            "{how} after {:.1} s of sound, {} frames; {:.1} s of it silence for lost sound \
             ({} losses), {:.3} s overrun",
            seconds(tail.sound_instants),
            tail.frames,
            seconds(gauged.silence),
            gauged.losses,
            seconds(gauged.overrun),
        ));
        if let Some(report) = self.boards.report() {
            let (sent, skipped) = (report.sent, report.skipped);
            tell(&format!("sent {sent} frames, skipped {skipped}{}", abandoned(&report)));
        }
        not_off
    }

    fn wipe(&mut self) {
        if std::mem::take(&mut self.drawn) {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }

    fn delay(&self, snapshot: &Snapshot) -> Delay {
        let ms = |instants: u64| instants as f64 * 1000.0 / f64::from(self.rate_hz);
        let block = ms(self.gauged.block);
        let board = self.board.as_ref();
        let behind_s = board.map_or(0.0, |board| board.behind_s.max(0.0));
        // The board's thread spreads the frames of a block over the time to the next.
        let spread = if self.driven { block } else { 0.0 };
        Delay {
            capture: (self.gauged.age_ns as f64 / 1e6).max(block),
            waiting: (ms(self.gauged.backlog) - block).max(0.0),
            analysis: (self.bands_s.0 + self.bands_s.1) * 500.0,
            engine: snapshot.engine.median_us / 1000.0,
            line: spread + (self.line_s + behind_s) * 1000.0,
        }
    }

    fn hottest(&self, snapshot: &Snapshot) -> &str {
        let coil = usize::try_from(snapshot.hottest.coil).unwrap_or(usize::MAX);
        self.coils.get(coil).map_or("", String::as_str)
    }

    fn line(&self, snapshot: &Snapshot) -> String {
        let seconds = snapshot.instants / u64::from(self.rate_hz);
        let clock = format!("{}:{:02}", seconds / 60, seconds % 60);
        let heard = match (self.gauged.alive, snapshot.clipped) {
            (false, _) => "NO SOUND".to_owned(),
            (true, 0) => format!("in {:.0} dBFS", snapshot.level_dbfs),
            (true, clipped) => format!("in {:.0} dBFS, {clipped} CLIPPED", snapshot.level_dbfs),
        };
        let Self { board, .. } = self;
        let skipped = board.as_ref().map_or(0, |board| board.skipped);
        let board = board.as_ref().map_or_else(|| "dry run".to_owned(), board_words);
        let hands = words(snapshot.hands, &self.mappings);
        let mute = match &self.sound_out {
            Some(told) if told.is_lost() => " | OUTPUT GONE",
            _ => "",
        };
        let over = match self.gauged.overrun {
            0 => String::new(),
            overrun => format!(" | {overrun} samples OVERRUN"),
        };
        format!(
            "{clock} | {heard} | {} {:.0} K left | {:.0} ms | engine {:.0} us, {:.0} at worst | {} \
             frames, {skipped} skipped | {board}{mute}{over}{}{hands}",
            self.hottest(snapshot),
            snapshot.hottest.headroom_k,
            self.delay(snapshot).total(),
            snapshot.engine.median_us,
            snapshot.engine.max_us,
            snapshot.frame,
            if hands.is_empty() { "" } else { " | " },
        )
    }

    fn object(&self, snapshot: &Snapshot) -> Value {
        let delay = self.delay(snapshot);
        let Gauged {
            alive, block, backlog, overrun, silence, late, losses, errors, slept_ns, ..
        } = self.gauged;
        json!({
            "seconds": snapshot.instants as f64 / f64::from(self.rate_hz),
            "frame": snapshot.frame,
            "input": {
                "alive": alive, "level_dbfs": snapshot.level_dbfs,
                "peak_dbfs": snapshot.peak_dbfs, "clipped_samples": snapshot.clipped,
                "quiet": snapshot.quiet, "block_instants": block, "backlog_instants": backlog,
                "overrun_instants": overrun, "silence_instants": silence, "late_instants": late,
                "losses": losses, "errors": errors, "slept_s": slept_ns as f64 / 1e9,
            },
            "engine": snapshot.engine,
            "delay_ms": {
                "total": delay.total(), "capture": delay.capture, "waiting": delay.waiting,
                "analysis": delay.analysis, "analysis_quickest": self.bands_s.0 * 1000.0,
                "analysis_slowest": self.bands_s.1 * 1000.0, "engine": delay.engine,
                "line": delay.line,
            },
            "hottest": {
                "coil": snapshot.hottest.coil, "name": self.hottest(snapshot),
                "headroom_k": snapshot.hottest.headroom_k, "now_c": snapshot.hottest.now_c,
            },
            "asked_coils": snapshot.asked_coils,
            "granted_coils": snapshot.granted_coils,
            "sound_out": self.sound_out.as_ref().map(Told::object),
            "board": self.board.as_ref().map(board_object),
            "hands": snapshot.hands,
        })
    }
}

fn state_word(state: LineState) -> &'static str {
    match state {
        LineState::Refused => "refused",
        LineState::Gone => "gone",
        LineState::Asking => "asked",
        LineState::Ready => "ready",
    }
}

fn board_words(report: &BoardReport) -> String {
    let mut words = format!("board {}", state_word(report.state));
    let status = report.status.unwrap_or_default();
    if let Some(c) = status.temperature_c {
        words.push_str(&format!(" {c:.0} C"));
    }
    if let Some(volts) = status.supply_v {
        words.push_str(&format!(" {volts:.1} V"));
    }
    if status.trips > 0 {
        words.push_str(&format!(" {} watchdog trips", status.trips));
    }
    words
}

fn board_object(report: &BoardReport) -> Value {
    let status = report.status.map(|status| {
        json!({
            "temperature_c": status.temperature_c, "supply_v": status.supply_v,
            "supply_a": status.supply_a, "watchdog_trips": status.trips, "taken": status.taken,
            "missed": status.missed, "dropped": status.dropped, "damaged": status.damaged,
            "clamped": status.clamped, "driving": status.driving, "too_hot": status.too_hot,
        })
    });
    json!({
        "state": state_word(report.state), "sent": report.sent, "skipped": report.skipped,
        "abandoned": report.abandoned,
        "lost": report.lost, "behind_ms": report.behind_s * 1000.0,
        "sentence": report.sentence.as_deref(), "status": status,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_that_a_line_did_not_take_to_their_end_are_told_apart() {
        let mut report = BoardReport { sent: 90, skipped: 7, ..BoardReport::default() };
        assert_eq!(abandoned(&report), "");
        report.abandoned = 3;
        assert_eq!(
            abandoned(&report),
            ", 3 begun and not ended (line stuck or lost, or all off came first)"
        );
        let told = board_object(&report);
        let counts = ["sent", "skipped", "abandoned"].map(|key| told.get(key)?.as_u64());
        assert_eq!(counts, [Some(90), Some(7), Some(3)]);
    }
}
