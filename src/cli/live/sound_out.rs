//! `--sound-out`: what is heard, played again when the fluid has caught up.

use coilscore::audio::SoundFormat;
use coilscore::audio::capture::Settled;
use coilscore::audio::playback::{Feed, Output, OutputError, OutputWanted, keep_back, plan_output};

use super::super::{Failure, tell};

/// Longest delay that is accepted, ms: beyond it nobody on stage or in the room can follow.
const LONGEST_MS: f64 = 2000.0;

/// Instants per block of the output: large, as the delay holds far more, and a busy machine leaves no
/// gaps then.
const BUFFER: u32 = 1024;

/// As typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Delay {
    /// By what passes until the fluid shows it.
    Auto,
    /// So many ms.
    Ms(f64),
}

/// Reads `auto` or a number of ms.
pub(super) fn delay(text: &str) -> Result<Delay, String> {
    if text == "auto" {
        return Ok(Delay::Auto);
    }
    let ms = text.parse().ok().filter(|ms: &f64| (0.0..=LONGEST_MS).contains(ms));
    ms.map(Delay::Ms).ok_or_else(|| format!("auto, or milliseconds from 0 to {LONGEST_MS}"))
}

/// Sound on its way out.
pub(super) struct SoundOut {
    pub(super) feed: Feed,
    pub(super) output: Output,
}

/// How far the sound is kept back, s. `shown_s`: from an instant's being heard to the fluid showing
/// it, where the display says how late its fluid follows.
pub(super) fn back_s(delay: Delay, shown_s: Option<f64>) -> Result<f64, Failure> {
    match (delay, shown_s) {
        (Delay::Ms(ms), _) => Ok(ms / 1000.0),
        (Delay::Auto, Some(shown_s)) => Ok(shown_s),
        (Delay::Auto, None) => Err(Failure::Refused(
            "--delay auto: the display does not say how late its fluid follows: write a [lag] into \
             it, measured on a video, or give --delay in milliseconds"
                .into(),
        )),
    }
}

/// Opens the output. Sound goes out once the engine feeds it.
pub(super) fn open(
    output: &str,
    sound: SoundFormat,
    settled: &Settled,
    back_s: f64,
) -> Result<SoundOut, Failure> {
    let wanted = OutputWanted {
        output: output.to_owned(),
        rate_hz: sound.rate_hz,
        channels: sound.channels,
        buffer: BUFFER,
    };
    let plan = plan_output(&wanted).map_err(refused)?;
    let (feed, mut kept, _) = keep_back(sound, plan.rate_hz, back_s).map_err(Failure::refused)?;
    // What the input's block has waited already when it is heard, on average.
    let waited_s = 0.5 * f64::from(settled.granted) / f64::from(sound.rate_hz);
    let output = Output::open(&plan, move |block, later_s| {
        kept.aim(back_s - later_s - waited_s);
        kept.play(block)
    })
    .map_err(refused)?;
    tell(&format!(
        "plays it through {} at {} Hz, {:.0} ms after it was heard (not for performers who are seen; \
         turn the amplifier up slowly, loud sound harms hearing)",
        plan.output,
        plan.rate_hz,
        1000.0 * back_s
    ));
    Ok(SoundOut { feed, output })
}

fn refused(error: OutputError) -> Failure {
    match error {
        OutputError::Open { .. } => Failure::failed(error),
        _ => Failure::refused(error),
    }
}
