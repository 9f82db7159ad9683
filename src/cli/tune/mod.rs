//! `coilscore tune`: a mapping is changed on a page while it plays.

mod driven;

use coilscore::shown::Shown as _;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicU32;

use coilscore::audio::{Source, collect, file};
use coilscore::budget::Start;
use coilscore::preset::{Display, Mapping};
use coilscore::run::RenderJob;
use coilscore::run::ends::tail;
use coilscore::run::line::Line;
use coilscore::run::live::{Controls, Recording, notices};
use coilscore::run::tune::edit::{Ground, Outcome as First, Work, draft_of};
use coilscore::run::tune::{BoardLook, Looped, Song, Tellers, Tuning, outer, tune};
use coilscore::units::Rate;

use super::inputs::{self, Files};
use super::render::ArithArg;
use super::{Failure, Outcome, heat, signals, tell};
use driven::Driven;

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(id = "tune")]
#[command(after_help = HELP)]
pub(super) struct Args {
    #[command(flatten)]
    files: Files,
    /// Song that is played over and over; left out: an input is heard
    #[arg(value_name = "SONG")]
    song: Option<PathBuf>,
    /// Sound input: its text as `coilscore ports` prints it, or a part that only it has
    #[cfg(feature = "capture")]
    #[arg(long, value_name = "TEXT", conflicts_with = "song")]
    input: Option<String>,
    /// Port of the page on this computer; 0 takes any that is free
    #[arg(long, value_name = "PORT", default_value_t = 7413)]
    page_port: u16,
    /// Lets others come to the page by this address of this computer, with the one-time address
    /// that is printed
    #[arg(long, value_name = "ADDRESS")]
    open_to: Option<IpAddr>,
    /// Serial port of the board; of several boards, in the order of their numbers; left out: nothing
    /// is driven
    #[arg(long, value_name = "PORT")]
    port: Vec<String>,
    /// Bits per second on the line; left out: as the display file says
    #[arg(long, value_name = "BAUD")]
    baud: Option<u32>,
    /// Frames per second: 200, 59.94, 60000/1001
    #[arg(long, default_value = "200", value_parser = inputs::rate)]
    rate: Rate,
    /// Arithmetic of the spectra
    #[arg(long, value_enum, default_value_t = ArithArg::Native)]
    arith: ArithArg,
    #[command(flatten)]
    heat: heat::Args,
    /// Keep the frames as a duty file
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
    /// End after so many seconds of sound
    #[arg(long, value_name = "S", value_parser = seconds)]
    seconds: Option<f64>,
}

const HELP: &str = "Open the printed address in a browser. Ctrl-C ends it; every end switches all \
coils off.\n\n\
CAUTION: with --port the page moves a real display. Coils and their drivers get hot, magnets pinch, \
mains and liquids do not mix. Keep a switch within reach that cuts the coils' supply, and do not \
leave the display unattended. --open-to is for a workshop's own network: what goes over it is not \
encrypted.";

fn seconds(text: &str) -> Result<f64, String> {
    let wanted = text.parse().ok().filter(|s: &f64| *s > 0.0 && *s <= 1e7);
    wanted.ok_or_else(|| "a time in seconds above 0, up to 1e7".into())
}

/// Sound, whichever it is.
struct Sound {
    source: Box<dyn Source + Send>,
    song: Option<Song>,
    late: Option<Arc<AtomicU32>>,
}

/// Plays and serves until someone ends it.
pub(super) fn run(args: &Args) -> Outcome {
    let (mapping, display) = args.files.load(false)?;
    let place = args.files.display_path(&mapping)?;
    keep_apart(args, &place)?;
    if let Some(address) = args.open_to {
        outer(address, args.page_port).map_err(Failure::Refused)?;
    }
    let controls = Arc::new(Controls::new(signals::stop_flag()?));
    let sound = sound(args, &controls)?;
    let work = work(args, &mapping, &place, &display, sound.source.format())?;
    play(args, &mapping, &display, (&place, sound), work, controls)
}

fn keep_apart(args: &Args, display: &Path) -> Result<(), Failure> {
    let heat = args.heat.places(display);
    let mut read = args.files.paths();
    read.push(display);
    let drafts: Vec<PathBuf> = read.iter().map(|file| draft_of(file)).collect();
    read.extend(drafts.iter().map(PathBuf::as_path));
    read.extend(heat.iter().map(PathBuf::as_path));
    read.extend(args.song.as_deref());
    inputs::keep_apart(&read, &args.record.iter().map(PathBuf::as_path).collect::<Vec<_>>())
}

fn sound(args: &Args, controls: &Controls) -> Result<Sound, Failure> {
    let Some(path) = &args.song else { return input(args, controls) };
    let mut source = file::open(path).map_err(Failure::failed)?;
    let format = source.format();
    let interleaved = collect(&mut *source).map_err(Failure::failed)?;
    if interleaved.is_empty() {
        return Err(Failure::Refused(format!("{}: there is no sound in it", path.shown())));
    }
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let song = Song { name, format, interleaved: interleaved.into() };
    let until = args.seconds.map(|s| whole(s * f64::from(format.rate_hz)));
    let looped = Looped::new(song.clone(), controls.flag(), until);
    Ok(Sound { late: Some(looped.late()), song: Some(song), source: Box::new(looped) })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a time above 0, checked when it was typed"
)]
fn whole(instants: f64) -> u64 {
    instants.ceil() as u64
}

#[cfg(feature = "capture")]
fn input(args: &Args, controls: &Controls) -> Result<Sound, Failure> {
    use coilscore::audio::capture::{Capture, CaptureError, Wanted};

    if args.seconds.is_some() {
        return Err(Failure::Refused("--seconds counts along a SONG: name one".into()));
    }
    let wanted = Wanted { input: args.input.clone(), buffer: 256, rate_hz: None, channels: None };
    let on_news = Box::new(|news: &str| tell(news));
    let capture =
        Capture::open(&wanted, controls.flag(), on_news).map_err(|error| match error {
            CaptureError::Open { .. } => Failure::failed(error),
            _ => Failure::refused(error),
        })?;
    tell(&format!("hears {}", capture.settled().input));
    Ok(Sound { source: Box::new(capture), song: None, late: None })
}

#[cfg(not(feature = "capture"))]
fn input(_: &Args, _: &Controls) -> Result<Sound, Failure> {
    let text = "name a SONG: this coilscore was built without the feature 'capture'";
    Err(Failure::Refused(text.into()))
}

fn work(
    args: &Args,
    mapping: &Mapping,
    place: &Path,
    display: &Display,
    sound: coilscore::audio::SoundFormat,
) -> Result<(Work, First), Failure> {
    let ground = Ground {
        mapping_name: args.files.preset.shown(),
        display_name: place.shown(),
        sound,
        rate: args.rate,
        arith: args.arith.into(),
    };
    Work::open(ground, (&args.files.preset, mapping.text()), (place, display.text()))
        .map_err(Failure::Refused)
}

fn play(
    args: &Args,
    mapping: &Mapping,
    display: &Display,
    (place, mut sound): (&Path, Sound),
    work: (Work, First),
    controls: Arc<Controls>,
) -> Outcome {
    let mut driven = Driven::open(args, display)?;
    // A tank that is not there is as warm as the room; one that is says so, or counts as hot.
    let warmth = match driven.drives() {
        true => Some(heat::open(&args.heat, place, display, args.rate, false)?),
        false => None,
    };
    let start = warmth.as_ref().map_or(Start::Cold, |warmth| warmth.start.clone());
    let job = RenderJob {
        mapping,
        display,
        rate: args.rate,
        start: start.clone(),
        arith: args.arith.into(),
    };
    let mut line = Line::new(&job, &[], sound.source.format()).map_err(Failure::refused)?;
    inputs::warn(&line.names.warnings);
    // Edits are not kept.
    let recording = args.record.as_deref().map(|path| Recording::create(path, &line.head, None));
    let recording = recording.transpose().map_err(Failure::failed)?;
    let boards = driven.boards();
    let (notices, noticed) = notices();
    let tuning = Tuning {
        work,
        display,
        names: line.names.clone(),
        controls,
        song: sound.song,
        late: sound.late,
        port: args.page_port,
        open_to: args.open_to,
        recording,
    };
    let mut hurried = warmth.is_none();
    let mut note = |node_c: &[f64]| {
        if !std::mem::replace(&mut hurried, true) {
            hurry();
        }
        warmth.as_ref().is_none_or(|warmth| warmth.note(node_c))
    };
    let mut stood = boards.look();
    let mut look = || {
        let look = boards.look();
        let state = |look: &Option<BoardLook>| look.as_ref().map(|look| look.state.clone());
        if let Some(now) = look.as_ref().filter(|_| state(&look) != state(&stood)) {
            let why = now.sentence.as_deref().map_or_else(String::new, |why| format!(" ({why})"));
            tell(&format!("board: {}{why}", now.state));
        }
        stood.clone_from(&look);
        look
    };
    let tellers =
        Tellers { heat: &mut note, notices, board: &mut look, tell: &mut |text| tell(text) };
    let tuned = tune(tuning, &mut line, &mut *sound.source, &mut driven, tellers);
    noticed.take().for_each(|notice| tell(&notice));
    // Their threads send all off, and wait for the boards to say so.
    drop(driven);
    let not_off = boards.not_off();
    let tuned = tuned.map_err(Failure::failed)?;
    let kept =
        tuned.recording.and_then(|recording| recording.finish(&tail(&line.engine, String::new())));
    ending(tuned.heat_lost, kept, args.record.is_some())?;
    not_off.map_or(Ok(()), |not_off| Err(Failure::Failed(not_off)))
}

/// Frames of a real display go before other work, where the system grants that.
fn hurry() {
    #[cfg(feature = "capture")]
    if let Some(sentence) = super::live::hurry() {
        tell(&sentence);
    }
}

fn ending(heat_lost: bool, kept: Option<Result<PathBuf, String>>, wanted: bool) -> Outcome {
    if heat_lost {
        return Err(Failure::Failed(heat::STUCK.into()));
    }
    match kept {
        Some(Ok(path)) => tell(&format!("wrote {}", path.shown())),
        Some(Err(sentence)) => return Err(Failure::Failed(sentence)),
        None if wanted => {
            return Err(Failure::Failed("the recording is not whole: see above".into()));
        }
        None => {}
    }
    Ok(())
}
