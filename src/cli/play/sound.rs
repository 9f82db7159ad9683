//! A song that is played while its duty file drives boards: one clock for both, the sound card's.

use coilscore::shown::Shown as _;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use coilscore::audio::file::open;
use coilscore::audio::fingerprint::Fingerprint;
use coilscore::audio::playback::{
    Feed, Output, OutputError, OutputPlan, OutputWanted, keep_back, plan_output,
};
use coilscore::audio::{SoundFormat, Source};
use coilscore::sink::file::open as duty_file;

use crate::cli::{Failure, tell};

/// Sound gathered before it begins, s: a decoder's pauses must not be heard.
const AHEAD_S: f64 = 0.5;

/// Instants per block of the output.
const BUFFER: u32 = 512;

/// Between two looks whether there is room.
const LOOK: Duration = Duration::from_millis(10);

/// Sounds whose lengths differ by less, s, may be one in two forms.
const SAME_S: f64 = 0.1;

/// A song that is ready.
pub(super) struct Song {
    source: Box<dyn Source + Send>,
    plan: OutputPlan,
}

impl Song {
    /// Opens song and output, to be refused before anything is driven.
    pub(super) fn open(song: &Path, output: &str) -> Result<Self, Failure> {
        let source = open(song).map_err(Failure::failed)?;
        let format = source.format();
        let wanted = OutputWanted {
            output: output.to_owned(),
            rate_hz: format.rate_hz,
            channels: format.channels,
            buffer: BUFFER,
        };
        let plan = plan_output(&wanted).map_err(refused)?;
        Ok(Self { source, plan })
    }

    /// Says so when it is not what `made_from` was made from: harmless, but out of step.
    pub(super) fn compare(song: &Path, made_from: &Path) -> Result<(), Failure> {
        let mut source = open(song).map_err(Failure::failed)?;
        let SoundFormat { rate_hz, channels } = source.format();
        let (mut print, mut instants) = (Fingerprint::new(), 0_u64);
        loop {
            match source.next_block() {
                Ok(Some(block)) => {
                    print.update(block);
                    instants += block.instants() as u64;
                }
                Ok(None) => break,
                Err(error) => {
                    tell(&format!(
                        "--sound {}: {error}: the sound ends there, and frames go on without it",
                        song.shown()
                    ));
                    break;
                }
            }
        }
        for remark in source.remarks() {
            tell(&format!("--sound {}: {remark}", song.shown()));
        }
        let mut frames = duty_file(made_from).map_err(Failure::refused)?;
        while frames.next_entry().map_err(Failure::failed)?.is_some() {}
        let Some(tail) = frames.tail() else { return Ok(()) };
        let head = frames.head();
        let seconds = |instants: u64, rate_hz: u32| instants as f64 / f64::from(rate_hz.max(1));
        let is_s = seconds(instants, rate_hz);
        let was_s = seconds(tail.sound_instants, head.sound_rate_hz);
        let alike = (head.sound_rate_hz, head.sound_channels) == (rate_hz, channels);
        let other = match alike {
            true => print.hex() != tail.sound_digest,
            // Of one channel, or sampled otherwise: only the length can be compared.
            false => (is_s - was_s).abs() > SAME_S,
        };
        if other {
            tell(&format!(
                "--sound {}: not the sound that {} was made from ({is_s:.3} s long, that one \
                 {was_s:.3} s): frames may be out of step",
                song.shown(),
                made_from.shown()
            ));
        }
        Ok(())
    }

    /// Begins to play.
    pub(super) fn play(self, quiet: bool) -> Result<Playing, Failure> {
        let Self { source, plan } = self;
        let made = keep_back(source.format(), plan.rate_hz, AHEAD_S).map_err(Failure::refused)?;
        let (feed, kept, _) = made;
        let mut kept = kept.at_own_speed();
        let channels = usize::from(source.format().channels).max(1);
        let (ended, quit) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let (ends, quits) = (Arc::clone(&ended), Arc::clone(&quit));
        let decoder = thread::Builder::new().name("song".into()).spawn(move || {
            decode(source, feed, &quits);
            ends.store(true, Ordering::Release);
        });
        let output = Output::open(&plan, move |block, _| {
            let over = ended.load(Ordering::Acquire);
            if over {
                kept.no_more();
            }
            let made = kept.play(block);
            // Time goes on after the song, and stands still where a decoder is too slow.
            if over { block.len() / channels } else { made }
        });
        let output = output.map_err(refused)?;
        if !quiet {
            tell(&format!("plays the song through {} at {} Hz", plan.output, plan.rate_hz));
        }
        Ok(Playing {
            output,
            rate_hz: f64::from(plan.rate_hz),
            quit,
            decoder: Some(decoder.map_err(Failure::failed)?),
        })
    }
}

/// A song that sounds until it is dropped.
pub(super) struct Playing {
    output: Output,
    rate_hz: f64,
    quit: Arc<AtomicBool>,
    decoder: Option<JoinHandle<()>>,
}

impl Playing {
    /// How far it has been heard, s; `None` before it begins. Once the output is gone it is guessed,
    /// until [`Self::is_lost`].
    pub(super) fn sounding_s(&self) -> Option<f64> {
        self.output.sounding_s(self.rate_hz)
    }

    /// Whether the output is gone.
    pub(super) fn is_lost(&self) -> bool {
        self.output.is_lost()
    }
}

impl Drop for Playing {
    fn drop(&mut self) {
        self.quit.store(true, Ordering::Relaxed);
        if let Some(decoder) = self.decoder.take() {
            // One that broke down has nothing left to say.
            let _ = decoder.join();
        }
    }
}

fn decode(mut source: Box<dyn Source + Send>, mut feed: Feed, quit: &AtomicBool) {
    // What cannot be decoded ends the song, as its end would.
    while let Ok(Some(block)) = source.next_block() {
        let mut rest = block;
        while rest.instants() > 0 {
            let (now, later) = rest.split_at(512);
            while feed.room() < now.interleaved().len() {
                if quit.load(Ordering::Relaxed) {
                    return;
                }
                thread::sleep(LOOK);
            }
            feed.put(now);
            rest = later;
        }
    }
}

fn refused(error: OutputError) -> Failure {
    match error {
        OutputError::Open { .. } => Failure::failed(error),
        _ => Failure::refused(error),
    }
}
