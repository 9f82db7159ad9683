//! `coilscore listen`: is the sound that comes in sound?

use std::fmt::Write as _;
use std::path::PathBuf;

use coilscore::audio::Source;
use coilscore::listen::advice::{Advice, advise};
use coilscore::listen::{Findings, LISTEN_S, Listening};
use coilscore::sheet::wrap;

use super::{Failure, Outcome, print, tell};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Listen to a recording of the input instead of the input itself
    #[cfg_attr(feature = "capture", arg(conflicts_with = "input"))]
    file: Option<PathBuf>,
    /// Sound input: its text as `coilscore ports` prints it, or a part that only it has; left out,
    /// and no FILE: the one that the system takes
    #[cfg(feature = "capture")]
    #[arg(long, value_name = "TEXT")]
    input: Option<String>,
    /// How long to listen, s
    #[arg(long, default_value_t = LISTEN_S, value_parser = seconds)]
    seconds: f64,
    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if (1.0..=600.0).contains(&seconds) => Ok(seconds),
        _ => Err("a time from 1 to 600 s, such as 20".into()),
    }
}

/// Listens and says what was heard.
pub(super) fn run(args: &Args) -> Outcome {
    let mut source = source(args)?;
    let findings = hear(source.as_mut(), args.seconds)?;
    for remark in source.remarks() {
        tell(&format!("coilscore: {remark}"));
    }
    if args.json { print_json(&findings) } else { print(&told(&findings)) }
}

fn source(args: &Args) -> Result<Box<dyn Source + Send>, Failure> {
    match &args.file {
        Some(file) => coilscore::audio::file::open(file).map_err(Failure::failed),
        None => live(args),
    }
}

/// The input itself, which never ends.
#[cfg(feature = "capture")]
fn live(args: &Args) -> Result<Box<dyn Source + Send>, Failure> {
    use coilscore::audio::capture::{Capture, CaptureError, Wanted};
    use std::sync::Arc;
    let input = args.input.clone();
    let wanted = Wanted { input, buffer: 1024, rate_hz: None, channels: None };
    let on_news = Box::new(|news: &str| tell(&format!("coilscore: {news}")));
    // Nothing is written: Ctrl-C may end the program on the spot.
    let capture = Capture::open(&wanted, Arc::default(), on_news);
    let capture = capture.map_err(|error| match error {
        CaptureError::Open { .. } => Failure::failed(error),
        _ => Failure::refused(error),
    })?;
    tell(&format!(
        "coilscore: listening to {} for {} s: play something loud, with pauses",
        capture.settled().input,
        args.seconds
    ));
    Ok(Box::new(capture))
}

#[cfg(not(feature = "capture"))]
fn live(_: &Args) -> Result<Box<dyn Source + Send>, Failure> {
    Err(Failure::Refused(
        "name a FILE: this coilscore was built without the feature 'capture'".into(),
    ))
}

/// Takes sound until there is enough of it.
fn hear(source: &mut dyn Source, seconds: f64) -> Result<Findings, Failure> {
    let mut listening = Listening::new(source.format());
    let wanted = instants(seconds, source.format().rate_hz);
    while listening.instants() < wanted {
        let missing = wanted - listening.instants();
        match source.next_block() {
            Ok(Some(block)) => {
                let (now, _) = block.split_at(usize::try_from(missing).unwrap_or(usize::MAX));
                listening.push(now);
            }
            Ok(None) => break,
            Err(error) if listening.instants() == 0 => return Err(Failure::failed(error)),
            Err(error) => {
                tell(&format!("coilscore: {error}"));
                break;
            }
        }
    }
    Ok(listening.finish())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "ten minutes at most, checked as typed"
)]
fn instants(seconds: f64, rate_hz: u32) -> u64 {
    (seconds * f64::from(rate_hz)).ceil() as u64
}

fn told(findings: &Findings) -> String {
    let Findings { heard_s, rate_hz, channels, .. } = findings;
    let advice = advise(findings);
    let mut text = format!("heard {heard_s:.1} s at {rate_hz} Hz, {channels} channels\n");
    for Advice { topic, fine, text: sentence } in &advice {
        let mark = if *fine { ' ' } else { '!' };
        wrap(&mut text, &format!("{mark} {topic:<9} "), sentence);
    }
    let amiss = advice.iter().filter(|advice| !advice.fine).count();
    let _ = match amiss {
        0 => writeln!(text, "Nothing to do."),
        1 => writeln!(text, "One thing to look at, marked with !"),
        _ => writeln!(text, "{amiss} things to look at, marked with !"),
    };
    text
}

fn print_json(findings: &Findings) -> Outcome {
    let mut json = serde_json::to_value(findings).map_err(Failure::failed)?;
    if let Some(fields) = json.as_object_mut() {
        let advice = serde_json::to_value(advise(findings)).map_err(Failure::failed)?;
        fields.insert("advice".into(), advice);
    }
    print(&format!("{json:#}\n"))
}
