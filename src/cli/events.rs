//! `coilscore events`: what is heard in a song, as a table.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};

use coilscore::analysis::Arith;
use coilscore::analysis::onset::{Hearing, Kind};
use coilscore::run::events::{EventsError, Listened, listen, write_table};

use super::progress::Progress;
use super::{Failure, Outcome, convert, inputs, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The song: WAV, AIFF, FLAC, Ogg Vorbis, MP3, AAC or ALAC (M4A)
    song: PathBuf,
    /// Table to write (.csv); left out: standard output
    #[arg(long, value_name = "FILE.csv")]
    out: Option<PathBuf>,
    /// Judge every event as soon as a live run would, some 8 to 20 ms after it began
    #[arg(long, conflicts_with = "look_ahead")]
    as_live: bool,
    /// Hear some 40 ms beyond every event before judging it, and the whole song before
    /// placing beats: fewer mistakes (the default)
    #[arg(long)]
    look_ahead: bool,
    /// Print neither progress nor counts
    #[arg(long)]
    quiet: bool,
}

/// Listens and writes `time_s,kind,strength,emitted_s`.
pub(super) fn run(args: &Args) -> Outcome {
    inputs::keep_apart(&[&args.song], &args.out.as_deref().into_iter().collect::<Vec<_>>())?;
    args.out.as_deref().map_or(Ok(()), convert::check_csv)?;
    let hearing = if args.as_live { Hearing::AsLive } else { Hearing::WholeSong };
    let listened = hear(args, hearing)?;
    let mut table = Vec::new();
    write_table(&listened.events, &mut table).map_err(Failure::failed)?;
    match &args.out {
        Some(out) => write_whole(out, &table)?,
        None => print(&String::from_utf8_lossy(&table))?,
    }
    if !args.quiet {
        tell(&summary(&args.song, &listened));
    }
    Ok(())
}

fn hear(args: &Args, hearing: Hearing) -> Result<Listened, Failure> {
    let mut song = coilscore::audio::file::open(&args.song).map_err(Failure::failed)?;
    let format = song.format();
    let progress = Progress::over(song.expected_instants(), format.rate_hz, args.quiet)?;
    let heard = listen(song.as_mut(), hearing, Arith::Native, &mut |at| progress.at(at));
    drop(progress);
    let listened = heard.map_err(|error| match error {
        EventsError::Analysis(_) => Failure::refused(error),
        other => Failure::failed(other),
    })?;
    for remark in song.remarks() {
        tell(&format!("coilscore: {remark}"));
    }
    if listened.whole {
        return Ok(listened);
    }
    Err(Failure::Stopped(format!(
        "stopped after {:.1} s of sound; no table was written",
        listened.song_s
    )))
}

fn summary(song: &Path, listened: &Listened) -> String {
    let count = |kind| listened.events.iter().filter(|event| event.kind == kind).count();
    format!(
        "{}: {:.1} s of sound: {} onsets, {} kicks, {} snares, {} hats, {} beats",
        song.shown(),
        listened.song_s,
        count(Kind::Onset),
        count(Kind::Kick),
        count(Kind::Snare),
        count(Kind::Hat),
        count(Kind::Beat),
    )
}
