//! `coilscore render`: a song to a duty file.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use clap::ValueEnum;
use coilscore::analysis::{Arith, Knowing, SongFacts};
use coilscore::audio::Source;
use coilscore::audio::pick::Pick;
use coilscore::preset::{Display, Mapping};
use coilscore::run::plan::{Opening, Piece, PlanReport, Planned};
use coilscore::run::render::{Again, RenderError, render_again, render_as_live, render_known};
use coilscore::run::{RenderJob, RenderReport, render, render_planned};
use coilscore::units::Rate;

use super::inputs::{self, Files};
use super::progress::Progress;
use super::song::{is_piped, known, open, open_later};
use super::{Failure, Outcome, again, convert, explain, print, tell, write_whole};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The song: WAV, AIFF, FLAC, Ogg Vorbis, MP3, AAC or ALAC (M4A); "-" is WAV from standard input.
    /// Several, in the order in which they are played one right after another: one run of heat
    #[arg(required = true, value_name = "SONG")]
    songs: Vec<PathBuf>,
    /// What is heard of the song: all, left, right, mid, side, or the number of a channel from 1
    #[arg(long, default_value_t = Pick::All, value_name = "WHICH")]
    channel: Pick,
    #[command(flatten)]
    files: Files,
    /// The duty file to write; until it is whole it is called FILE.part. For several songs the folder,
    /// which must be there, for one file each: SONG.duty
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
    /// its events the moment they happen, frames that lead the sound by the fluid's lag, and a plan
    /// for its heat
    #[arg(long)]
    as_live: bool,
    /// Plan no gains for the whole song: the limiter takes what is too hot when it comes
    #[arg(long, conflicts_with = "as_live")]
    no_plan: bool,
    /// Tell, coil by coil, what was taken by whom, and what was gained over a fixed clamp
    #[arg(long, conflicts_with_all = ["as_live", "no_plan"])]
    explain: bool,
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
    let outs = outs(args)?;
    let mut inputs = args.files.paths();
    inputs.extend(args.songs.iter().map(PathBuf::as_path).filter(|song| !is_piped(song)));
    inputs.extend(args.inputs.as_deref());
    inputs.push(Path::new(&args.start));
    inputs.extend(args.next.iter().map(PathBuf::as_path));
    let extra = [args.csv.as_deref(), args.report.as_deref()];
    let outputs = extra.into_iter().flatten().chain(outs.iter().map(PathBuf::as_path));
    let outputs = outputs.collect::<Vec<_>>();
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
    let began = Instant::now();
    let (reports, plan) = if args.as_live || args.no_plan {
        let Some(song) = args.songs.first() else { return Ok(()) };
        (vec![unplanned(song, &job, args)?], None)
    } else {
        let planned = planned(args, &outs, &job)?;
        (planned.songs, Some(planned.plan))
    };
    let wall_s = began.elapsed().as_secs_f64();
    if let Some((csv, out)) = args.csv.as_ref().zip(outs.first()) {
        convert::duties(out, csv)?;
    }
    if let Some(path) = &args.report {
        write_report(path, &reports, plan.as_ref(), wall_s)?;
    }
    let mut text = String::new();
    if !args.quiet {
        let part_s = wall_s / reports.len().max(1) as f64;
        for (report, out) in reports.iter().zip(&outs) {
            let planned = plan.as_ref().is_some_and(|plan| !plan.gains.is_empty());
            text.push_str(&summary(report, (&mapping, &display), out, part_s, planned));
        }
        text.push_str(&plan.as_ref().map_or_else(String::new, explain::in_short));
    }
    if args.explain {
        let full = |plan| explain::in_full(plan, reports.len());
        text.push_str(&plan.as_ref().map_or_else(String::new, full));
    }
    if text.is_empty() { Ok(()) } else { print(&text) }
}

/// Where each song goes; refuses what only one song can have.
fn outs(args: &Args) -> Result<Vec<PathBuf>, Failure> {
    let [_, _, ..] = args.songs.as_slice() else { return Ok(vec![args.out.clone()]) };
    let refuse = |text: String| Err(Failure::Refused(text));
    if args.as_live || args.no_plan || args.csv.is_some() {
        return refuse("--as-live, --no-plan and --csv are for one song".into());
    }
    if !args.out.is_dir() {
        return refuse(format!(
            "--out {}: for several songs this must be a folder that is there",
            args.out.shown()
        ));
    }
    let mut outs: Vec<PathBuf> = Vec::with_capacity(args.songs.len());
    for song in &args.songs {
        let stem = song.file_stem().filter(|_| song.as_os_str() != "-");
        let Some(stem) = stem else {
            return refuse(format!("{}: several songs must be files", song.shown()));
        };
        let mut name = stem.to_os_string();
        name.push(".duty");
        let out = args.out.join(name);
        if outs.contains(&out) {
            return refuse(format!(
                "two songs would both become {}: rename one, or render it alone",
                out.shown()
            ));
        }
        outs.push(out);
    }
    Ok(outs)
}

/// As `live` would, or with the limiter alone.
fn unplanned(song: &Path, job: &RenderJob<'_>, args: &Args) -> Result<RenderReport, Failure> {
    let source = open(song, args.channel)?;
    let further = inputs::further(&args.next)?;
    let recorded = args.inputs.as_deref().map(|path| again::read(path, job, source.format()));
    let recorded = recorded.transpose()?;
    let way = match &recorded {
        Some(inputs) => Way::Again(Again { further: &further, inputs }),
        None if args.as_live => Way::AsLive,
        None => match known(song, args.channel, args.quiet, job)? {
            Knowing::Song(facts) => Way::Known(Arc::unwrap_or_clone(facts)),
            Knowing::Nothing => Way::Plain,
        },
    };
    render_made(source, job, way, &args.out, args.quiet)
}

/// With a plan for the heat of all songs together. Each is looked at before the first is heard, so that
/// what cannot be opened is said at once; of several, only the one that is heard is open.
fn planned(args: &Args, outs: &[PathBuf], job: &RenderJob<'_>) -> Result<Planned, Failure> {
    let quiet = args.quiet;
    let mut pieces = Vec::with_capacity(args.songs.len());
    let mut over = (None, 1);
    for (song, out) in args.songs.iter().zip(outs) {
        let knowing = known(song, args.channel, quiet, job)?;
        let source = open(song, args.channel)?;
        let rate_hz = source.format().rate_hz;
        let open: Opening = if args.songs.len() == 1 {
            over = (source.expected_instants(), rate_hz);
            Box::new(move || Ok(source))
        } else {
            over = if pieces.is_empty() { (None, rate_hz) } else { over };
            open_later(song.clone(), args.channel)
        };
        pieces.push(Piece { open, knowing, out: out.clone() });
    }
    let progress = Progress::over(over.0, over.1, quiet)?;
    let planned = render_planned(pieces, job, &mut |_, instants| progress.at(instants));
    drop(progress);
    let planned = planned.map_err(failure)?;
    for (report, out) in planned.songs.iter().zip(outs) {
        heed(report, out, quiet)?;
    }
    Ok(planned)
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
    let report = report.map_err(failure)?;
    heed(&report, out, quiet)?;
    Ok(report)
}

fn failure(error: RenderError) -> Failure {
    match error {
        RenderError::Refused(_) | RenderError::Packing(_) | RenderError::Engine(_) => {
            Failure::refused(error)
        }
        other => Failure::failed(other),
    }
}

/// Warnings and remarks; fails for a run that was stopped.
fn heed(report: &RenderReport, out: &Path, quiet: bool) -> Outcome {
    if !quiet {
        inputs::warn(&report.warnings);
    }
    for remark in &report.remarks {
        tell(&format!("coilscore: {remark}"));
    }
    if report.whole {
        return Ok(());
    }
    Err(Failure::Stopped(format!(
        "stopped after {:.1} s of sound; {}.part keeps the frames so far",
        report.song_s,
        out.shown()
    )))
}

/// One song's figures stand by themselves, those of several in a list.
fn write_report(
    path: &Path,
    reports: &[RenderReport],
    plan: Option<&PlanReport>,
    wall_s: f64,
) -> Outcome {
    let mut json = match reports {
        [one] => serde_json::to_value(one),
        all => serde_json::to_value(all).map(|songs| serde_json::json!({ "songs": songs })),
    }
    .map_err(Failure::failed)?;
    if let Some(fields) = json.as_object_mut() {
        if let Some(plan) = plan {
            let plan = serde_json::to_value(plan).map_err(Failure::failed)?;
            fields.insert("plan".into(), plan);
        }
        fields.insert("wall_s".into(), wall_s.into());
    }
    write_whole(path, format!("{json:#}\n").as_bytes())
}

/// From this share on, what was cut shows.
const MUCH_CUT: f64 = 0.15;

/// The run in a few lines. What a plan took counts as taken by heat, and flattens nothing.
pub(super) fn summary(
    report: &RenderReport,
    (mapping, display): (&Mapping, &Display),
    out: &Path,
    wall_s: f64,
    planned: bool,
) -> String {
    let percent = |share: f64| share * 100.0;
    let heat = if planned { "by plan and heat" } else { "by heat" };
    let mut text = format!(
        "{}: {:.1} s of sound on \"{}\" with \"{}\", {} frames, {:.2} s of work\n\
         asked   {:.2} coils on average; granted {:.1} %, cut {heat} {:.1} %, by supply {:.1} %, \
         by driver {:.1} %\n\
         winding closest to its bound: {}, {:.1} C of {:.1} C (limit {:.0} C)\n\
         backing closest to its bound: {}, {:.1} C of {:.1} C (limit {:.0} C)\n",
        out.shown(),
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
    if !planned && report.cut_heat_share + report.cut_rail_share > MUCH_CUT {
        text.push_str(
            "Much was cut, which flattens the motion: a lower weight, or a higher floor_db, keeps its \
             shape.\n",
        );
    }
    text
}
