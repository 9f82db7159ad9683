//! Everything that can be refused, before anything moves.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use coilscore::audio::Source;
use coilscore::audio::capture::{Capture, CaptureError, Settled, Wanted};
use coilscore::budget::Start;
use coilscore::preset::Display;
use coilscore::run::RenderJob;
use coilscore::run::line::Line;
use coilscore::run::live::{Controls, Noticed, Notices, Recording, Saving, notices};

use super::super::heat::{self, Warmth};
use super::super::{Failure, inputs, signals, tell};
use super::Args;
use super::driven::Driven;
use super::sound_out::{self, SoundOut};

/// A show that only has to begin.
pub(super) struct Ready {
    pub(super) capture: Capture,
    pub(super) settled: Settled,
    pub(super) line: Line,
    pub(super) driven: Driven,
    pub(super) warmth: Warmth,
    pub(super) recording: Option<Recording>,
    pub(super) saving: Option<Saving>,
    pub(super) controls: Controls,
    pub(super) notices: (Notices, Noticed),
    pub(super) mappings: Vec<String>,
    pub(super) sound_out: Option<SoundOut>,
}

/// Reads, opens and checks in the order in which people can do something about it.
pub(super) fn ready(args: &Args) -> Result<Ready, Failure> {
    let (mapping, display) = args.files.load(false)?;
    let place = args.files.display_path(&mapping)?;
    keep_apart(args, &place)?;
    let further = inputs::further(&args.next)?;
    let stop = signals::stop_flag()?;
    let notices = notices();
    let capture = listen(args, &stop, notices.0.clone())?;
    let settled = capture.settled();
    let job = |start| RenderJob {
        mapping: &mapping,
        display: &display,
        rate: args.rate,
        start,
        arith: args.arith.into(),
    };
    // Built once to be refused before the board is spoken to, once with the heat as it is then.
    Line::new(&job(Start::Unknown), &further, capture.format()).map_err(Failure::refused)?;
    let driven = Driven::open(args, &display, &settled)?;
    let saving = args.save_audio.as_deref().map(|path| Saving::create(path, settled.format));
    let saving = saving.transpose().map_err(Failure::failed)?;
    let warmth = heat::open(&args.heat, &place, &display, args.rate, args.dry_run)?;
    let line = Line::new(&job(warmth.start.clone()), &further, settled.format);
    let line = line.map_err(Failure::refused)?;
    inputs::warn(&line.names.warnings);
    let (unknown, said) = (job(Start::Unknown), notices.0.clone());
    let sound_out = sound_out(args, &line, &unknown, &settled, &driven, said)?;
    let recording =
        args.record.as_deref().map(|path| Recording::create(path, &line.head, Some(&warmth.start)));
    let recording = recording.transpose().map_err(Failure::failed)?;
    let controls = Controls::new(stop);
    let mappings = std::iter::once(&mapping).chain(&further).map(|m| m.name.clone()).collect();
    say(&settled, &display, args);
    Ok(Ready {
        capture,
        settled,
        line,
        driven,
        warmth,
        recording,
        saving,
        controls,
        notices,
        mappings,
        sound_out,
    })
}

fn sound_out(
    args: &Args,
    line: &Line,
    job: &RenderJob<'_>,
    settled: &Settled,
    driven: &Driven,
    notices: Notices,
) -> Result<Option<SoundOut>, Failure> {
    let Some(output) = &args.sound_out else { return Ok(None) };
    // Boards send each frame one block of sound late, and it spends time on the line.
    let block_s = f64::from(settled.granted) / f64::from(settled.format.rate_hz);
    let shown_s = line.shown_after(job).map(|shown| shown.0 + block_s + driven.line_s);
    let back_s = sound_out::back_s(args.delay, shown_s)?;
    sound_out::open(output, settled.format, settled, back_s, notices).map(Some)
}

fn keep_apart(args: &Args, display: &Path) -> Result<(), Failure> {
    let heat = args.heat.places(display);
    let mut read = args.files.paths();
    read.push(display);
    read.extend(heat.iter().map(PathBuf::as_path));
    read.extend(args.next.iter().map(PathBuf::as_path));
    let kept: Vec<&Path> =
        [args.record.as_deref(), args.save_audio.as_deref()].into_iter().flatten().collect();
    inputs::keep_apart(&read, &kept)
}

fn listen(args: &Args, stop: &Arc<AtomicBool>, notices: Notices) -> Result<Capture, Failure> {
    let wanted = Wanted {
        input: args.input.clone(),
        buffer: args.buffer,
        rate_hz: args.input_rate,
        channels: args.input_channels,
    };
    let on_news = Box::new(move |news: &str| notices.say(news.to_owned()));
    Capture::open(&wanted, Arc::clone(stop), on_news).map_err(|error| match error {
        CaptureError::Open { .. } => Failure::failed(error),
        _ => Failure::refused(error),
    })
}

fn say(settled: &Settled, display: &Display, args: &Args) {
    let Settled { input, format, granted } = settled;
    let ms = f64::from(*granted) * 1000.0 / f64::from(format.rate_hz);
    tell(&format!(
        "hears {input}: {} Hz, {} channels, {granted} instants per block ({ms:.1} ms; asked {})",
        format.rate_hz, format.channels, args.buffer
    ));
    if args.dry_run {
        tell(&format!("dry run: \"{}\" is not driven", display.name));
        return;
    }
    tell(&format!("drives \"{}\" through {}", display.name, args.port.join(", ")));
    tell("o is all off, q ends");
}
