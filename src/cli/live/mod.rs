//! `coilscore live`: what is played moves a real board.

mod driven;
mod hands;
mod screen;
mod setup;
mod sound_out;
mod stage;

#[cfg(feature = "tune")]
pub(super) use stage::hurry;
use std::path::PathBuf;

use coilscore::units::Rate;

use super::inputs::{self, Files};
use super::render::ArithArg;
use super::{CAUTION, Outcome, heat};

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(id = "live")]
#[command(after_help = format!("{KEYS}\n\n{CAUTION}"))]
pub(super) struct Args {
    #[command(flatten)]
    files: Files,
    /// A further mapping that the key m changes over to; may be given several times
    #[arg(long, value_name = "FILE")]
    next: Vec<PathBuf>,
    /// Sound input: its text as `coilscore ports` prints it, or a part that only it has; left out:
    /// the one that the system takes
    #[arg(long, value_name = "TEXT")]
    input: Option<String>,
    /// Instants of sound per block: fewer are sooner; the system grants what it can
    #[arg(long, default_value_t = 256, value_name = "N", value_parser = clap::value_parser!(u32).range(16..=16384))]
    buffer: u32,
    /// Sampling rate of the input, Hz; left out: its own
    #[arg(long, value_name = "HZ", value_parser = clap::value_parser!(u32).range(8000..=192_000))]
    input_rate: Option<u32>,
    /// Channels of the input; left out: its own
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=32))]
    input_channels: Option<u16>,
    /// Serial port of the board; of several boards, in the order of their numbers
    #[arg(long, value_name = "PORT", required_unless_present = "dry_run")]
    port: Vec<String>,
    /// Bits per second on the line; left out: as the display file says
    #[arg(long, value_name = "BAUD", value_parser = clap::value_parser!(u32).range(1200..=12_000_000))]
    baud: Option<u32>,
    /// Drive nothing: hear, think and show only
    #[arg(long, conflicts_with = "port")]
    dry_run: bool,
    /// Frames per second: 200, 59.94, 60000/1001
    #[arg(long, default_value = "200", value_parser = inputs::rate)]
    rate: Rate,
    /// Arithmetic of the spectra
    #[arg(long, value_enum, default_value_t = ArithArg::Native)]
    arith: ArithArg,
    #[command(flatten)]
    heat: heat::Args,
    /// Also play the sound, kept back so that the fluid is in time with it: an output's text as
    /// `coilscore ports` prints it, or a part that only it has. Not for performers who are seen
    #[arg(long, value_name = "TEXT")]
    sound_out: Option<String>,
    /// How far the sound is kept back, in ms from its capture to the ear; auto: by what passes until
    /// the fluid shows it, from the display's [lag]
    #[arg(long, value_name = "auto|MS", default_value = "auto", requires = "sound_out", value_parser = sound_out::delay)]
    delay: sound_out::Delay,
    /// Keep the frames as a duty file, and what is needed to make them again
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// Keep the sound as heard, as WAV
    #[arg(long, value_name = "FILE.wav")]
    save_audio: Option<PathBuf>,
    /// What to print each second: a line for people on standard error, or a JSON object on
    /// standard output
    #[arg(long, value_enum, default_value_t = StatusArg::Line)]
    status: StatusArg,
    /// End after so many seconds of sound
    #[arg(long, value_name = "S", value_parser = seconds)]
    seconds: Option<f64>,
}

const KEYS: &str = "Keys while it plays: o all off, r drive again, h hold and let go, - and + \
level by 5 %, m next mapping, q end. Ctrl-C ends it as well; every end switches all coils off.";

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum StatusArg {
    /// One line that changes, on a terminal
    Line,
    /// One JSON object a second
    Json,
    /// Nothing but what happens
    None,
}

fn seconds(text: &str) -> Result<f64, String> {
    let wanted = text.parse().ok().filter(|s: &f64| *s > 0.0 && *s <= 1e7);
    wanted.ok_or_else(|| "a time in seconds above 0, up to 1e7".into())
}

/// Plays until someone ends it.
pub(super) fn run(args: &Args) -> Outcome {
    let ready = setup::ready(args)?;
    stage::play(args, ready)
}
