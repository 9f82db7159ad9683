//! Songs as they are typed: opened, and heard once where the mapping wants to know them.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use coilscore::analysis::Knowing;
use coilscore::analysis::ears::{SongError, measure_song};
use coilscore::audio::pick::{Pick, pick};
use coilscore::audio::{SoundError, Source};
use coilscore::run::RenderJob;
use coilscore::run::plan::Opening;

use super::progress::Progress;
use super::{Failure, tell};

/// The song as it will be heard.
pub(super) fn open(song: &Path, channel: Pick) -> Result<Box<dyn Source + Send>, Failure> {
    let song = if is_piped(song) {
        coilscore::audio::file::wav_stream(std::io::stdin(), "standard input")
    } else {
        coilscore::audio::file::open(song)
    };
    pick(song.map_err(Failure::failed)?, channel)
        .map_err(|error| Failure::Refused(format!("--channel {channel}: {error}")))
}

/// The same when its turn comes, long after it was looked at first.
pub(super) fn open_later(song: PathBuf, channel: Pick) -> Opening {
    Box::new(move || {
        pick(coilscore::audio::file::open(&song)?, channel).map_err(|error| {
            SoundError::Unsuitable {
                path: song.shown(),
                reason: format!("--channel {channel}: {error}"),
                advice: "it is not the song it was at first: render again".into(),
            }
        })
    })
}

/// Whether it comes from standard input.
pub(super) fn is_piped(song: &Path) -> bool {
    song.as_os_str() == "-"
}

/// What the mapping wants to know of a song beforehand: it is heard once for that. A song that
/// breaks off is rendered as far as it goes, and says so then.
pub(super) fn known(
    song: &Path,
    channel: Pick,
    quiet: bool,
    job: &RenderJob<'_>,
) -> Result<Knowing, Failure> {
    if !job.mapping.asks_for_the_song() {
        return Ok(Knowing::Nothing);
    }
    if is_piped(song) {
        tell("coilscore: a pipe is heard once: loudness and events are taken as they come");
        return Ok(Knowing::Nothing);
    }
    let mut song = open(song, channel)?;
    let progress = Progress::over(song.expected_instants(), song.format().rate_hz, quiet)?;
    let mut stopped = false;
    let facts = measure_song(&mut *song, job.arith, &mut |instants| {
        stopped = progress.at(instants).is_break();
        !stopped
    });
    drop(progress);
    if stopped {
        return Err(Failure::Stopped("stopped while the song was heard; nothing was made".into()));
    }
    match facts {
        Ok(facts) => Ok(Knowing::Song(Arc::new(facts))),
        Err(SongError::Analysis(error)) => Err(Failure::refused(error)),
        Err(_) => Ok(Knowing::Nothing),
    }
}
