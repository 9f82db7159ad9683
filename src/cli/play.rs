//! `coilscore play`: a duty file to driver boards, paced by the clock.

use coilscore::shown::Shown as _;
use std::path::PathBuf;

use coilscore::budget::{Budget, Duty, Start};
use coilscore::preset::{Display, prepare_display};
use coilscore::run::Flow;
use coilscore::run::play::{Beat, PlayError, Played, Recording, play};
use coilscore::sink::{Sink, SinkError};

use super::{Failure, Outcome, heat, inputs, print, tell};

#[cfg(all(feature = "serial", feature = "capture"))]
mod sound;
#[cfg(feature = "serial")]
mod wet;
#[cfg(feature = "serial")]
use wet::wet;

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(id = "play")]
#[command(after_help = super::CAUTION)]
pub(super) struct Args {
    /// The duty file, whole or FILE.part
    file: PathBuf,
    /// The display that is plugged in (TOML): its limits count, whatever the file was made for
    #[arg(long, value_name = "FILE")]
    display: PathBuf,
    #[command(flatten)]
    line: Line,
    /// Heat at the first frame: cold, warm, unknown, or the duty file that was played before; left
    /// out: what the heat file says
    #[arg(long, value_name = "START")]
    start: Option<String>,
    #[command(flatten)]
    heat: heat::Args,
    /// Drive nothing: show at once what would be granted
    #[arg(long)]
    dry_run: bool,
    /// The song, to be played in step: its output's clock paces the frames
    #[arg(long, value_name = "SONG", requires = "sound_out", conflicts_with = "dry_run")]
    sound: Option<PathBuf>,
    /// Where the song is played: the output's text as `coilscore ports` prints it, or a part that
    /// only it has
    #[arg(long, value_name = "TEXT", requires = "sound")]
    sound_out: Option<String>,
    /// Print nothing but errors, what is wrong and how warm it starts
    #[arg(long)]
    quiet: bool,
}

/// Where the boards are.
#[derive(Debug, clap::Args)]
pub(super) struct Line {
    /// Serial port of the board, as `coilscore ports` shows it; of several boards, once for each, in
    /// the order of their numbers
    #[arg(long = "port", value_name = "PORT")]
    pub(super) ports: Vec<String>,
    /// Speed of each line; left out: the display's [link]
    #[arg(long, value_name = "BAUD", value_parser = clap::value_parser!(u32).range(1200..=12_000_000))]
    pub(super) baud: Option<u32>,
}

/// Plays.
pub(super) fn run(args: &Args) -> Outcome {
    if args.dry_run && !args.line.ports.is_empty() {
        let what = "--port and --dry-run: leave one of them out, as a dry run drives nothing";
        return Err(Failure::Refused(what.into()));
    }
    if args.dry_run != args.line.ports.is_empty() {
        let what = "give --port, the serial port of the board (`coilscore ports` shows them), or \
                    --dry-run to drive nothing";
        return Err(Failure::Refused(what.into()));
    }
    let display = inputs::read_display(&args.display, args.quiet)?;
    let mut recording = Recording::open(&args.file, &display).map_err(failed)?;
    if !recording.same_display() && !args.quiet {
        tell(&format!(
            "{}: made for another display or another version of this one (\"{}\"): what this one \
             cannot stand will be cut",
            args.file.shown(),
            recording.head().display
        ));
    }
    let start = args.start.as_deref().map(|text| inputs::start(text, &display)).transpose()?;
    if args.dry_run {
        dry(args, &display, &mut recording, start)
    } else {
        wet(args, &display, &mut recording, start)
    }
}

fn failed(error: PlayError) -> Failure {
    match error {
        PlayError::Coils { .. } | PlayError::Rate { .. } | PlayError::Budget(_) => {
            Failure::refused(error)
        }
        other => Failure::failed(other),
    }
}

/// No time, no board.
struct Dry;

impl Beat for Dry {
    fn wait(&mut self, _: f64) -> Flow {
        Flow::Continue(())
    }
    fn stepped(&mut self, _: f64, _: &Budget) -> Flow {
        Flow::Continue(())
    }
}

impl Sink for Dry {
    fn duty(&mut self, _: u32, _: &[Duty]) -> Result<(), SinkError> {
        Ok(())
    }
    fn off(&mut self, _: u32) -> Result<(), SinkError> {
        Ok(())
    }
}

fn dry(args: &Args, display: &Display, recording: &mut Recording, start: Option<Start>) -> Outcome {
    let start = match start {
        Some(start) => start,
        None => heat::open(&args.heat, &args.display, display, recording.rate(), true)?.start,
    };
    let (settings, _) = prepare_display(display, recording.rate(), start);
    let played = play(recording, &settings, &mut Dry, &mut Dry).map_err(failed)?;
    tell_remarks(args, &played);
    print(&summary(args, display, &played, "would be played"))
}

fn tell_remarks(args: &Args, played: &Played) {
    for remark in &played.remarks {
        tell(&format!("coilscore: {}: {remark}", args.file.shown()));
    }
    if played.missing > 0 {
        let missing = played.missing;
        tell(&format!(
            "coilscore: {}: {missing} frames are missing: all coils are off there",
            args.file.shown()
        ));
    }
}

fn summary(args: &Args, display: &Display, played: &Played, what: &str) -> String {
    let [granted, heat, rail, driver] = played.shares.map(|share| share * 100.0);
    format!(
        "{}: {} frames {what} on \"{}\"; of what the file holds {granted:.1} % granted, cut by heat \
         {heat:.1} %, by supply {rail:.1} %, by driver {driver:.1} %\n",
        args.file.shown(),
        played.frames,
        display.name,
    )
}

#[cfg(not(feature = "serial"))]
fn wet(_: &Args, _: &Display, _: &mut Recording, _: Option<Start>) -> Outcome {
    Err(Failure::Refused("built without the feature 'serial': only --dry-run works".into()))
}
