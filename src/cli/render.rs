//! `coilscore render`: a song to a duty file.

use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::ValueEnum;
use coilscore::analysis::ears::{SongError, measure_song};
use coilscore::analysis::{Arith, SongFacts};
use coilscore::audio::Source;
use coilscore::audio::pick::{Pick, pick};
use coilscore::preset::{Display, Mapping};
use coilscore::run::render::{Again, RenderError, render_again, render_as_live, render_known};
use coilscore::run::{RenderJob, RenderReport, render};
use coilscore::units::Rate;

use super::inputs::{self, Files};
use super::progress::Progress;
use super::{Failure, Outcome, again, convert, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The song: WAV, AIFF, FLAC, Ogg Vorbis, MP3, AAC or ALAC (M4A); "-" is WAV from standard input
    song: PathBuf,
    /// What is heard of the song: all, left, right, mid, side, or the number of a channel from 1
    #[arg(long, default_value_t = Pick::All, value_name = "WHICH")]
    channel: Pick,
    #[command(flatten)]
    files: Files,
    /// The duty file to write; until it is whole it is called FILE.part
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Frames per second: 200, 59.94, 60000/1001
    #[arg(long, default_value = "200", value_parser = inputs::rate)]
    rate: Rate,
    /// Heat at the first frame: cold, warm, unknown (as hot as it may be), or the duty file of
    /// the song before. With --inputs left to that file
    #[arg(long, default_value = "cold", value_name = "START", conflicts_with = "inputs")]
    start: String,
    /// Hear the song as `live` would, without what only a file can have: its loudness as a whole,
    /// its events the moment they happen, and frames that lead the sound by the fluid's lag
    #[arg(long)]
    as_live: bool,
    /// Make a live run again: SONG is the sound it saved, this the duty file it recorded, for the
    /// heat at its start and for hands
    #[arg(long, value_name = "FILE", requires = "as_live")]
    inputs: Option<PathBuf>,
    /// A further mapping that hands of that run could change over to; in the same order
    #[arg(long, value_name = "FILE", requires = "inputs")]
    next: Vec<PathBuf>,
    /// Arithmetic of the spectra
    #[arg(long, value_enum, default_value_t = ArithArg::Native)]
    arith: ArithArg,
    /// Also write the duties as a table
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
    /// Also write the figures of the run as JSON
    #[arg(long, value_name = "FILE.json")]
    report: Option<PathBuf>,
    /// Print nothing but errors and what is wrong with the song
    #[arg(long)]
    quiet: bool,
}

/// Arithmetic as typed.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum ArithArg {
    /// Fastest; same bytes on the same class of processor
    Native,
    /// Same bytes on every processor
    Portable,
}

impl From<ArithArg> for Arith {
    fn from(typed: ArithArg) -> Self {
        match typed {
            ArithArg::Native => Self::Native,
            ArithArg::Portable => Self::Portable,
        }
    }
}

/// Renders and says what came of it.
pub(super) fn run(args: &Args) -> Outcome {
    let mut inputs = args.files.paths();
    let piped = args.song.as_os_str() == "-";
    if !piped {
        inputs.push(&args.song);
    }
    inputs.extend(args.inputs.as_deref());
    inputs.extend(args.next.iter().map(PathBuf::as_path));
    let extra = [args.csv.as_deref(), args.report.as_deref()];
    let outputs: Vec<&Path> = extra.into_iter().flatten().chain([args.out.as_path()]).collect();
    inputs::keep_apart(&inputs, &outputs)?;
    args.csv.as_deref().map_or(Ok(()), convert::check_csv)?;
    let (mapping, display) = args.files.load(args.quiet)?;
    // The display may be named in the mapping, and its heat lies beside it.
    inputs::keep_off_display(&args.files.display_path(&mapping)?, &outputs)?;
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate: args.rate,
        start: inputs::start(&args.start, &display)?,
        arith: args.arith.into(),
    };
    let song = open(args)?;
    let further = inputs::further(&args.next)?;
    let recorded = args.inputs.as_deref().map(|path| again::read(path, &job, song.format()));
    let recorded = recorded.transpose()?;
    let again = recorded.as_ref().map(|inputs| Again { further: &further, inputs });
    let began = Instant::now();
    let known = if args.as_live || !mapping.asks_for_the_song() {
        None
    } else if piped {
        tell("coilscore: a pipe is heard once: loudness and events are taken as they come");
        None
    } else {
        hear_first(args, &job)?
    };
    let report = render_made(song, &job, Way::of(args, again, known), &args.out, args.quiet)?;
    let wall_s = began.elapsed().as_secs_f64();
    if let Some(csv) = &args.csv {
        convert::duties(&args.out, csv)?;
    }
    if let Some(path) = &args.report {
        write_report(path, &report, wall_s)?;
    }
    if args.quiet {
        Ok(())
    } else {
        print(&summary(&report, &mapping, &display, &args.out, wall_s))
    }
}

/// The song as it will be heard.
fn open(args: &Args) -> Result<Box<dyn Source + Send>, Failure> {
    let song = if args.song.as_os_str() == "-" {
        coilscore::audio::file::wav_stream(std::io::stdin(), "standard input")
    } else {
        coilscore::audio::file::open(&args.song)
    };
    pick(song.map_err(Failure::failed)?, args.channel)
        .map_err(|error| Failure::Refused(format!("--channel {}: {error}", args.channel)))
}

/// Hears the song once. A song that breaks off is rendered as far as it goes, and says so then.
fn hear_first(args: &Args, job: &RenderJob<'_>) -> Result<Option<SongFacts>, Failure> {
    let mut song = open(args)?;
    let progress = Progress::over(song.expected_instants(), song.format().rate_hz, args.quiet)?;
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
        Ok(facts) => Ok(Some(facts)),
        Err(SongError::Analysis(error)) => Err(Failure::refused(error)),
        Err(_) => Ok(None),
    }
}

/// Renders any source, with progress, remarks and Ctrl-C.
pub(super) fn render_source(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    out: &Path,
    quiet: bool,
) -> Result<RenderReport, Failure> {
    render_made(source, job, Way::Plain, out, quiet)
}

/// What besides the sound there is to go by.
enum Way<'a> {
    Again(Again<'a>),
    AsLive,
    Known(SongFacts),
    Plain,
}

impl<'a> Way<'a> {
    fn of(args: &Args, again: Option<Again<'a>>, known: Option<SongFacts>) -> Self {
        match (again, known) {
            (Some(again), _) => Self::Again(again),
            (None, Some(known)) => Self::Known(known),
            (None, None) if args.as_live => Self::AsLive,
            (None, None) => Self::Plain,
        }
    }
}

fn render_made(
    source: Box<dyn Source + Send>,
    job: &RenderJob<'_>,
    way: Way<'_>,
    out: &Path,
    quiet: bool,
) -> Result<RenderReport, Failure> {
    let expected = source.expected_instants();
    let progress = Progress::over(expected, source.format().rate_hz, quiet)?;
    let hook = &mut |instants| progress.at(instants);
    let report = match way {
        Way::Again(again) => render_again(source, job, again, out, hook),
        Way::AsLive => render_as_live(source, job, out, hook),
        Way::Known(known) => render_known(source, job, known, out, hook),
        Way::Plain => render(source, job, out, hook),
    };
    drop(progress);
    let report = report.map_err(|error| match error {
        RenderError::Refused(_) | RenderError::Packing(_) | RenderError::Engine(_) => {
            Failure::refused(error)
        }
        other => Failure::failed(other),
    })?;
    if !quiet {
        inputs::warn(&report.warnings);
    }
    for remark in &report.remarks {
        tell(&format!("coilscore: {remark}"));
    }
    if report.whole {
        return Ok(report);
    }
    Err(Failure::Stopped(format!(
        "stopped after {:.1} s of sound; {}.part keeps the frames so far",
        report.song_s,
        out.display()
    )))
}

fn write_report(path: &Path, report: &RenderReport, wall_s: f64) -> Outcome {
    let mut json = serde_json::to_value(report).map_err(Failure::failed)?;
    if let Some(fields) = json.as_object_mut() {
        fields.insert("wall_s".into(), wall_s.into());
    }
    write_whole(path, format!("{json:#}\n").as_bytes())
}

/// From this share on, what was cut shows.
const MUCH_CUT: f64 = 0.15;

/// The run in a few lines.
pub(super) fn summary(
    report: &RenderReport,
    mapping: &Mapping,
    display: &Display,
    out: &Path,
    wall_s: f64,
) -> String {
    let percent = |share: f64| share * 100.0;
    let mut text = format!(
        "{}: {:.1} s of sound on \"{}\" with \"{}\", {} frames, {:.2} s of work\n\
         asked   {:.2} coils on average; granted {:.1} %, cut by heat {:.1} %, by supply {:.1} %, \
         by driver {:.1} %\n\
         winding closest to its bound: {}, {:.1} C of {:.1} C (limit {:.0} C)\n\
         backing closest to its bound: {}, {:.1} C of {:.1} C (limit {:.0} C)\n",
        out.display(),
        report.song_s,
        display.name,
        mapping.name,
        report.frames,
        wall_s,
        report.asked_coils,
        percent(report.granted_share),
        percent(report.cut_heat_share),
        percent(report.cut_rail_share),
        percent(report.cut_driver_share),
        report.peak_coil_name,
        report.peak_coil_c,
        report.peak_coil_bound_c,
        report.peak_coil_limit_c,
        report.peak_backing_name,
        report.peak_backing_c,
        report.peak_backing_bound_c,
        report.peak_backing_limit_c,
    );
    if report.lead_s > 0.0 {
        text.push_str(&format!(
            "frames lead the sound by {:.0} ms, for the fluid to be in time\n",
            1000.0 * report.lead_s
        ));
    }
    if report.cut_heat_share + report.cut_rail_share > MUCH_CUT {
        text.push_str(
            "Much was cut, which flattens the motion: a lower weight, or a higher floor_db, keeps its \
             shape.\n",
        );
    }
    text
}
