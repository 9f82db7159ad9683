//! `--sound-out`: what is heard, played again when the fluid has caught up.

use std::sync::Arc;

use coilscore::audio::SoundFormat;
use coilscore::audio::capture::Settled;

use coilscore::audio::playback::{
    Feed, Fill, OutputError, OutputWanted, Pulse, Speaker, keep_back, plan_output,
};
use coilscore::run::live::Notices;
use serde_json::{Value, json};

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
    pub(super) speaker: Speaker,
    pub(super) told: Told,
}

/// What the screen says of it.
#[derive(Debug, Clone)]
pub(super) struct Told {
    output: String,
    fill: Arc<Fill>,
    pulse: Arc<Pulse>,
}

impl Told {
    /// Whether nothing is played because the output is gone.
    pub(super) fn is_lost(&self) -> bool {
        !self.pulse.is_alive()
    }

    /// As it is now, for programs.
    pub(super) fn object(&self) -> Value {
        let kept = self.fill.read();
        json!({
            "output": self.output, "alive": self.pulse.is_alive(),
            "losses": self.pulse.losses(), "held_ms": kept.held_s * 1000.0,
            "speed_ppm": kept.speed_ppm, "gaps": kept.gaps, "leaps": kept.leaps,
            "lost_instants": kept.lost,
        })
    }
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
    notices: Notices,
) -> Result<SoundOut, Failure> {
    let wanted = OutputWanted {
        output: output.to_owned(),
        rate_hz: sound.rate_hz,
        channels: sound.channels,
        buffer: BUFFER,
    };
    let plan = plan_output(&wanted).map_err(refused)?;
    let (feed, mut kept, fill) =
        keep_back(sound, plan.rate_hz, back_s).map_err(Failure::refused)?;
    // What the input's block has waited already when it is heard, on average.
    let waited_s = 0.5 * f64::from(settled.granted) / f64::from(sound.rate_hz);
    let name = plan.output.clone();
    let said = Box::new(move |sentence: &str| notices.say(sentence.to_owned()));
    let rate_hz = plan.rate_hz;
    let fill_block = Box::new(move |block: &mut [f32], later_s: f64| {
        kept.aim(back_s - later_s - waited_s);
        kept.play(block)
    });
    let speaker = Speaker::open(wanted, plan, fill_block, said).map_err(refused)?;
    tell(&format!(
        "plays it through {} at {} Hz, {:.0} ms after it was heard (not for performers who are seen; \
         turn the amplifier up slowly, loud sound harms hearing)",
        name,
        rate_hz,
        1000.0 * back_s
    ));
    let told = Told { output: name, fill, pulse: speaker.pulse() };
    Ok(SoundOut { feed, speaker, told })
}

fn refused(error: OutputError) -> Failure {
    match error {
        OutputError::Open { .. } => Failure::failed(error),
        _ => Failure::refused(error),
    }
}
