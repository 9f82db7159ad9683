//! The command line: flags as typed become a job; the only place that prints for people.
//!
//! Results go to standard output, everything else (progress, remarks, refusals) to standard
//! error. Exit codes: 0 done; 1 failed while working; 2 the command line, a mapping, a display or
//! a request was refused; 130 stopped by Ctrl-C.
#![allow(
    clippy::disallowed_methods,
    reason = "the command line reads and writes the files it is told to, and times its work"
)]

mod again;
mod bias;
mod bias_print;
mod board;
mod budget;
mod check;
mod coil;
mod coil_print;
mod convert;
mod demo;
#[cfg(feature = "serial")]
mod driving;
mod events;
mod explain;
mod fit;
mod heat;
mod inputs;
mod keys;
mod listen;
#[cfg(feature = "capture")]
mod live;
mod picture;
mod plain;
mod play;
mod ports;
mod progress;
mod pulls;
mod render;
mod request;
mod sheet;
mod signals;
mod song;
#[cfg(feature = "tune")]
mod tune;
mod walk;

use coilscore::shown::Shown as _;
use std::env::args_os;
use std::ffi::OsString;
use std::path::Path;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use coilscore::sink::part::Part;

/// Turns music into permitted duty cycles for the coils of a ferrofluid display.
#[derive(Debug, Parser)]
#[command(version, after_help = EXIT_CODES)]
struct Args {
    #[command(subcommand)]
    command: Command,
}

const EXIT_CODES: &str = "Exit codes: 0 done; 1 failed while working; 2 command line, mapping, \
display or request refused; 130 stopped by Ctrl-C.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Make a song of its own, render it on an invented display, draw it
    Demo(demo::Args),
    /// Render a song to a duty file
    Render(render::Args),
    /// Draw a duty file as a PNG
    Picture(picture::Args),
    /// Check a mapping and a display, show how each band is heard, print the build sheet
    Check(check::Args),
    /// Show what the hardware allows: heat, supply, and for how long
    Budget(budget::Args),
    /// Reckon a coil from its geometry: resistance, inductance, field, what it stands
    Coil(coil::Args),
    /// Find the magnet's distance, and what it is worth: lift and drop currents, margins, neighbours
    Bias(bias::Args),
    /// Learn a coil's heat figures from a logged heating test, or its inductance
    Fit(fit::Args),
    /// Turn a duty file into a table
    Convert(convert::Args),
    /// Hear an input or a recording of it and say what is wrong with it
    Listen(listen::Args),
    /// Hear sound as it is played and move the display
    #[cfg(feature = "capture")]
    Live(live::Args),
    /// Open a page on which a mapping is changed while it plays
    #[cfg(feature = "tune")]
    Tune(tune::Args),
    /// Play a duty file on driver boards, within what the display that is plugged in can stand
    Play(play::Args),
    /// Ask a driver board what it is, compare it with the display, store limits in it
    Board(board::Args),
    /// Drive one coil at a time: find swapped, dead and shorted ones, lift and drop, resistance
    Walk(walk::Args),
    /// Write what is heard in a song as a table: onsets, kicks, snares, hats, beats
    Events(events::Args),
    /// Show sound inputs, sound outputs and serial ports, with the exact text to paste
    Ports,
}

/// Why a command did not do what was asked. Maps to the exit code.
#[derive(Debug)]
enum Failure {
    /// What was typed or written cannot be used as it stands.
    Refused(String),
    /// Something failed on the way.
    Failed(String),
    /// The user stopped it.
    Stopped(String),
}

impl Failure {
    fn refused(error: impl std::fmt::Display) -> Self {
        Self::Refused(error.to_string())
    }

    fn failed(error: impl std::fmt::Display) -> Self {
        Self::Failed(error.to_string())
    }

    /// Stopped while something was driven; `not_off`: boards that have not said that they are off.
    fn all_off(not_off: Option<String>) -> Self {
        let how = not_off.unwrap_or_else(|| "all coils are off".into());
        Self::Stopped(format!("stopped; {how}"))
    }
}

type Outcome = Result<(), Failure>;

/// The command line, in which -1 is a number wherever a number may stand: it is refused by its range,
/// not as an argument that nobody knows.
fn command() -> clap::Command {
    let takes_numbers = |command: clap::Command| {
        command.mut_args(|arg| {
            if arg.get_action().takes_values() { arg.allow_negative_numbers(true) } else { arg }
        })
    };
    Args::command()
        .mut_subcommands(move |command| takes_numbers(command).mut_subcommands(takes_numbers))
}

/// What was typed; or help, or what is wrong with it. That repeats what was typed, on its line and
/// with nothing in it that a terminal obeys.
fn typed() -> Result<Args, clap::Error> {
    let read = |typed: Vec<OsString>| {
        let matches = command().try_get_matches_from(typed)?;
        Args::from_arg_matches(&matches)
    };
    read(args_os().collect()).map_err(|error| {
        let shown = args_os().map(|typed| Path::new(&typed).shown().into());
        let told = read(shown.collect()).err();
        told.filter(|told| told.kind() == error.kind()).unwrap_or(error)
    })
}

/// Runs the program and returns its exit code.
pub(crate) fn main() -> ExitCode {
    let args = match typed() {
        Ok(args) => args,
        Err(error) => return told_instead(&error),
    };
    let outcome = match args.command {
        Command::Demo(args) => demo::run(&args),
        Command::Render(args) => render::run(&args),
        Command::Picture(args) => picture::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Budget(args) => budget::run(&args),
        Command::Coil(args) => coil::run(&args),
        Command::Bias(args) => bias::run(&args),
        Command::Fit(args) => fit::run(&args),
        Command::Convert(args) => convert::run(&args),
        Command::Listen(args) => listen::run(&args),
        #[cfg(feature = "capture")]
        Command::Live(args) => live::run(&args),
        #[cfg(feature = "tune")]
        Command::Tune(args) => tune::run(&args),
        Command::Play(args) => play::run(&args),
        Command::Board(args) => board::run(&args),
        Command::Walk(args) => walk::run(&args),
        Command::Events(args) => events::run(&args),
        Command::Ports => ports::run(),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => report(&failure),
    }
}

/// Help, the version, or what is wrong with the command line. Help that could not be written has
/// failed.
fn told_instead(error: &clap::Error) -> ExitCode {
    use std::io::Write;
    let written = error.print().and_then(|()| std::io::stdout().flush());
    let code = u8::try_from(error.exit_code()).unwrap_or(2);
    match (written, code) {
        (Err(why), 0) if why.kind() != std::io::ErrorKind::BrokenPipe => {
            report(&Failure::Failed(format!("standard output: {why}")))
        }
        _ => ExitCode::from(code),
    }
}

fn report(failure: &Failure) -> ExitCode {
    let (text, code) = match failure {
        Failure::Refused(text) => (text, 2),
        Failure::Failed(text) => (text, 1),
        Failure::Stopped(text) => (text, 130),
    };
    // A refusal of a file comes as a block that starts with its own heading.
    if text.starts_with("error") {
        tell(text);
    } else {
        tell(&format!("coilscore: {text}"));
    }
    ExitCode::from(code)
}

/// Writes a sentence to standard error. If even that cannot be written, nobody can be told.
fn tell(text: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "{}", plain::plain(text.trim_end()));
}

/// What a closing line adds about frames that a line did not take to their end, if there were any.
#[cfg(any(feature = "serial", feature = "capture"))]
fn abandoned(report: &coilscore::sink::board::BoardReport) -> String {
    match report.abandoned {
        0 => String::new(),
        frames => {
            format!(", {frames} begun and not ended (line stuck or lost, or all off came first)")
        }
    }
}

/// Writes a whole file: under its name only once it is complete.
fn write_whole(path: &Path, bytes: &[u8]) -> Outcome {
    use std::io::Write;
    let (part, mut file) = Part::create(path).map_err(Failure::failed)?;
    match file.write_all(bytes).and_then(|()| part.settle(&file)) {
        Ok(()) => Ok(()),
        Err(error) => {
            part.discard();
            Err(Failure::Failed(format!("{}: {error}; is there room?", path.shown())))
        }
    }
}

/// Writes a result to standard output. A reader that has closed the pipe has seen enough.
fn print(text: &str) -> Outcome {
    use std::io::{ErrorKind, Write};
    match std::io::stdout().write_all(plain::plain(text).as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::Failed(format!("standard output: {error}")))
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_command_line_is_sound_in_every_feature_set() {
        super::command().debug_assert();
    }
}
