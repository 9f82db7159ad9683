//! What a board says, side by side with the display.

use std::fmt::Write as _;

use coilscore::frame::Packing;
use coilscore::frame::wire::hello::{Hello, LINK};
use coilscore::frame::wire::limits::{Limit, Limits};
use coilscore::frame::wire::status::Status;
use coilscore::sink::board::{BoardSettings, Wiring};

/// A board's answer as a table; with a display, the display's figures beside it.
pub(super) fn table(
    port: &str,
    board: &Hello,
    display: Option<(&BoardSettings, &Wiring)>,
    status: Option<&Status>,
) -> String {
    let mut text = match display {
        Some((_, wiring)) => format!("{port} (board {})\n", wiring.number),
        None => format!("{port}\n"),
    };
    let heading = if display.is_some() { ("board", "display") } else { ("board", "") };
    let mut row = |what: &str, board: String, display: String| {
        let _ = writeln!(text, "{}", format!("  {what:<14} {board:<18} {display}").trim_end());
    };
    row("", heading.0.into(), heading.1.into());
    let of = |words: &dyn Fn(&BoardSettings, &Wiring) -> String| {
        display.map_or_else(String::new, |(settings, wiring)| words(settings, wiring))
    };
    row("link", format!("{}.{}", LINK[0], board.minor), format!("{}.{}", LINK[0], LINK[1]));
    row("channels", board.channels.to_string(), of(&|_, it| it.coils.len().to_string()));
    row("full duty", steps(board.steps), of(&|it, _| steps(it.steps)));
    row("pushes", ways(board.two_way).into(), of(&|it, _| ways(it.two_way).into()));
    row("codes", packing(board.packing).into(), of(&|it, _| packing(it.packing).into()));
    row("PWM", hertz(board.pwm_hz), of(&|it, _| hertz(it.pwm_hz)));
    row("hold", format!("{} ms", board.hold_ms), of(&|it, _| format!("{} ms", it.hold_ms)));
    if board.knows.flash {
        row("keeps limits", "yes".into(), String::new());
    }
    for line in limits(&board.limits, board.steps) {
        row("limits", line, String::new());
    }
    if !board.limits.is_empty() {
        row("mean over", format!("{} s", board.window_s), String::new());
    }
    if let Some(status) = status {
        for (what, value) in figures(status) {
            row(what, value, String::new());
        }
    }
    text
}

fn figures(status: &Status) -> Vec<(&'static str, String)> {
    let mut rows = Vec::new();
    if let Some(celsius) = status.temperature_c {
        rows.push(("temperature", format!("{celsius:.1} C")));
    }
    if let Some(volts) = status.supply_v {
        rows.push(("supply", format!("{volts:.2} V")));
    }
    if let Some(amps) = status.supply_a {
        rows.push(("coils take", format!("{amps:.2} A")));
    }
    rows.push(("watchdog trips", status.trips.to_string()));
    rows.push(("frames taken", status.taken.to_string()));
    rows.push(("damaged", status.damaged.to_string()));
    rows
}

/// What is about to be stored.
pub(super) fn to_store(limits: &Limits, steps: u16) -> String {
    let mut text = format!("  to store, mean over {} s:\n", limits.window_s);
    for line in self::limits(&limits.limits, steps) {
        let _ = writeln!(text, "    {line}");
    }
    text
}

/// Runs of channels with the same limits.
fn limits(limits: &[Limit], steps: u16) -> Vec<String> {
    let mut runs: Vec<(usize, usize, Limit)> = Vec::new();
    for (channel, limit) in limits.iter().enumerate() {
        match runs.last_mut() {
            Some((_, last, known)) if known == limit => *last = channel,
            _ => runs.push((channel, channel, *limit)),
        }
    }
    let percent = |code: u16| f64::from(code) * 100.0 / f64::from(steps.max(1));
    let words = |(first, last, limit): (usize, usize, Limit)| {
        let channels = match first == last {
            true => format!("channel {first}"),
            false => format!("channels {first}-{last}"),
        };
        match limit.most {
            0 => format!("{channels}: off"),
            most => format!(
                "{channels}: up to {most} ({:.0} %), mean {} ({:.0} %)",
                percent(most),
                limit.mean_most,
                percent(limit.mean_most)
            ),
        }
    };
    runs.into_iter().map(words).collect()
}

fn steps(steps: u16) -> String {
    format!("{steps} steps")
}

fn ways(two_way: bool) -> &'static str {
    if two_way { "both ways" } else { "one way" }
}

fn packing(packing: Packing) -> &'static str {
    match packing {
        Packing::Byte => "a byte each",
        Packing::Twelve => "12 bits each",
        Packing::Word => "16 bits each",
        Packing::SignedWord => "16 bits, signed",
    }
}

fn hertz(hertz: u32) -> String {
    if hertz == 0 { "not stated".into() } else { format!("{hertz} Hz") }
}
