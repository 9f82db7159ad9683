//! The part of `play` that drives something.

use coilscore::budget::Start;
use coilscore::preset::{Display, prepare_display};
use coilscore::run::play::{Recording, play};

use super::{Args, failed, summary, tell_remarks};
use crate::cli::driving::{Stop, Wall, greet, line_settings, not_off};
use crate::cli::{Failure, Outcome, abandoned, heat, print, tell};

pub(super) fn wet(
    args: &Args,
    display: &Display,
    recording: &mut Recording,
    start: Option<Start>,
) -> Outcome {
    #[cfg(feature = "capture")]
    let song = match (&args.sound, &args.sound_out) {
        (Some(song), Some(output)) => {
            super::sound::Song::compare(song, &args.file)?;
            Some(super::sound::Song::open(song, output)?)
        }
        _ => None,
    };
    #[cfg(not(feature = "capture"))]
    if args.sound.is_some() {
        let what = "--sound: this build has no sound devices (feature 'capture')";
        return Err(Failure::Refused(what.into()));
    }
    let line = line_settings(&args.line, display, recording.rate())?;
    let stop = Stop::new()?;
    // Declared first and so dropped last, on a panic too: coils are off before the last word on heat.
    let warmth;
    let mut board = greet(&line, &args.line.ports, &stop, args.quiet)?;
    warmth = heat::open(&args.heat, &args.display, display, recording.rate(), false)?;
    if let Some(said) = &args.start {
        tell(&format!(
            "heat: {said} counts, as you say; if the coils are warmer than that, stop now"
        ));
    }
    let start = start.unwrap_or_else(|| warmth.start.clone());
    let (settings, _) = prepare_display(display, recording.rate(), start);
    let mut wall = Wall::new(&stop, board.watch(), &warmth, args.quiet);
    #[cfg(feature = "capture")]
    let playing = song.map(|song| song.play(args.quiet)).transpose()?;
    #[cfg(feature = "capture")]
    let clock = || match &playing {
        Some(playing) if playing.is_lost() => Err(()),
        Some(playing) => Ok(playing.sounding_s()),
        None => Err(()),
    };
    #[cfg(feature = "capture")]
    if playing.is_some() {
        wall = wall.by(&clock);
    }
    let played = play(recording, &settings, &mut board, &mut wall);
    let stuck = wall.end();
    if !played.as_ref().is_ok_and(|played| played.whole) {
        board.off_now();
    }
    #[cfg(feature = "capture")]
    if playing.as_ref().is_some_and(super::sound::Playing::is_lost) {
        tell("the sound's output is gone, and with it the clock: all coils off");
    }
    let watch = board.watch();
    // All off before the last word on heat. Frames that are due within a moment still go out.
    drop(board);
    drop(warmth);
    let (played, report) = (played.map_err(failed)?, watch.report());
    tell_remarks(args, &played);
    if stuck {
        return Err(Failure::Failed(heat::STUCK.into()));
    }
    if !args.quiet {
        print(&summary(args, display, &played, "played"))?;
        print(&format!(
            "to the boards: {} frames, {} skipped{}; lost {} times\n",
            report.sent,
            report.skipped,
            abandoned(&report),
            report.lost
        ))?;
    }
    let not_off = not_off(&watch, &args.line.ports);
    match (played.whole, not_off) {
        (false, not_off) => Err(Failure::all_off(not_off)),
        (true, Some(not_off)) => Err(Failure::Failed(not_off)),
        (true, None) => Ok(()),
    }
}
