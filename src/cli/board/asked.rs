//! The conversation.

use std::io::BufRead;
use std::time::Duration;

use coilscore::frame::Packing;
use coilscore::frame::wire::hello::{Hello, Knows, LINK, MOST_CHANNELS, Role, Verdict};
use coilscore::frame::wire::limits::Limits;
use coilscore::preset::Display;
use coilscore::run::board_limits::{Reckoned, reckon};
use coilscore::sink::board::{BoardSettings, Greeting, Stage, Talk, Wiring, check_line};

use super::Args;
use super::words;
use crate::cli::driving::{ANSWER, board_failure, line_settings};
use crate::cli::{Failure, Outcome, inputs, print, tell};

/// A greeted board reports ten times a second.
const REPORT: Duration = Duration::from_secs(1);

pub(super) fn run(args: &Args) -> Outcome {
    if args.line.ports.is_empty() {
        let what = "give --port, the serial port of the board; `coilscore ports` shows them";
        return Err(Failure::Refused(what.into()));
    }
    match &args.display {
        None => args.line.ports.iter().try_for_each(|port| alone(args, port)),
        Some(path) => {
            let display = inputs::read_display(path, false)?;
            against(args, &display)
        }
    }
}

/// Without a display: whatever it answers to a HELLO that asks for nothing.
fn alone(args: &Args, port: &str) -> Outcome {
    let Some(baud) = args.line.baud else {
        let what = "the speed of the line is not known: give --baud, or --display with [link] baud";
        return Err(Failure::Refused(what.into()));
    };
    let mut talk = Talk::open(port, baud).map_err(board_failure)?;
    let hello = talk.greet(&nothing(), ANSWER).map_err(board_failure)?;
    print(&words::table(port, &hello, None, None))
}

/// A HELLO that suits no board, so that none takes it for leave to be driven.
fn nothing() -> Hello {
    Hello {
        minor: LINK[1],
        role: Role::Host,
        verdict: Verdict::Ready,
        packing: Packing::Byte,
        two_way: false,
        knows: Knows::default(),
        channels: 0,
        steps: 0,
        pwm_hz: 0,
        hold_ms: 0,
        rate: [1, 1],
        window_s: 0,
        limits: Vec::new(),
    }
}

fn against(args: &Args, display: &Display) -> Outcome {
    let settings = line_settings(&args.line, display, args.rate)?;
    let baud = check_line(&settings).map_err(board_failure)?;
    if settings.boards.len() != args.line.ports.len() {
        let boards = settings.boards.iter().map(|board| board.number).collect();
        let ports = args.line.ports.len();
        let error = coilscore::sink::board::BoardError::Ports { boards, ports };
        return Err(Failure::refused(error));
    }
    let reckoned = match args.store_limits {
        true => Some(reckon(display).map_err(Failure::refused)?),
        false => None,
    };
    let mut refused = Vec::new();
    for (port, board) in args.line.ports.iter().zip(&settings.boards) {
        let mut talk = Talk::open(port, baud).map_err(board_failure)?;
        match meet(&mut talk, port, &settings, board)? {
            Ok(hello) => {
                if let Some(reckoned) = &reckoned {
                    store(args, &mut talk, (port, board, &hello), reckoned)?;
                }
            }
            Err(why) => refused.push(format!("{port}: {why}")),
        }
    }
    if refused.is_empty() { Ok(()) } else { Err(Failure::Refused(refused.join("\n"))) }
}

/// Greets as if to drive, and shows what came of it.
fn meet(
    talk: &mut Talk,
    port: &str,
    settings: &BoardSettings,
    board: &Wiring,
) -> Result<Result<Hello, String>, Failure> {
    let mut greeting = Greeting::new(settings, board);
    let hello = loop {
        let offer = greeting.ask(0.0).clone();
        let hello = talk.greet(&offer, ANSWER).map_err(board_failure)?;
        greeting.take(hello.clone(), 1.0);
        if greeting.stage() != Stage::Asking {
            break hello;
        }
    };
    let status = talk.status(REPORT).map_err(board_failure)?;
    print(&words::table(port, &hello, Some((settings, board)), status.as_ref()))?;
    Ok(match greeting.why() {
        Some(why) => Err(why.to_owned()),
        None => Ok(hello),
    })
}

fn store(
    args: &Args,
    talk: &mut Talk,
    (port, board, hello): (&str, &Wiring, &Hello),
    reckoned: &Reckoned,
) -> Outcome {
    if !hello.knows.flash {
        let why = "the board keeps no limits over a reset, so there is nothing to store";
        return Err(Failure::Refused(format!("{port}: {why}")));
    }
    let limits = reckoned.for_board(board, usize::from(hello.channels.min(MOST_CHANNELS)));
    print(&words::to_store(&limits, hello.steps))?;
    if !args.yes && !confirmed()? {
        return Err(Failure::Stopped("nothing was stored".into()));
    }
    let answer = talk.store(&limits, ANSWER).map_err(board_failure)?;
    if !is_in_force(&answer, &limits) {
        let why = "the board did not take the limits; what it had is still in force";
        return Err(Failure::Failed(format!("{port}: {why}")));
    }
    if !answer.knows.flash {
        let why = "the limits are in force, but only until the board is reset: its flash did not take \
                   them. Try again; a board that goes on like this has worn or locked flash";
        return Err(Failure::Failed(format!("{port}: {why}")));
    }
    print("  stored, and in force\n")
}

fn is_in_force(answer: &Hello, limits: &Limits) -> bool {
    answer.window_s == limits.window_s
        && answer.limits.len() == limits.limits.len()
        && answer
            .limits
            .iter()
            .zip(&limits.limits)
            .all(|(has, sent)| has.most <= sent.most && has.mean_most <= sent.mean_most)
}

fn confirmed() -> Result<bool, Failure> {
    tell("store these limits in the board, in place of those it has? Type yes:");
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).map_err(Failure::failed)?;
    Ok(line.trim() == "yes")
}
