//! `coilscore demo`: the whole line with nothing plugged in.

use coilscore::shown::Shown as _;
use std::path::{Path, PathBuf};
use std::time::Instant;

use coilscore::analysis::Arith;
use coilscore::audio::demo::DemoSong;
use coilscore::audio::file::save_wav;
use coilscore::budget::Start;
use coilscore::preset::{load_display, load_mapping};
use coilscore::run::RenderJob;
use coilscore::units::Rate;

use super::{Failure, Outcome, convert, picture, print, render};

/// Flags as typed.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder to write into
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    out: PathBuf,
    /// Print nothing but errors
    #[arg(long)]
    quiet: bool,
}

const MAPPING: &str = include_str!("../../presets/demo.toml");
const DISPLAY: &str = include_str!("../../presets/displays/ring24.toml");
const RATE_HZ: u32 = 200;

/// Makes a song, a mapping and a display, renders, draws, and says what to do next.
pub(super) fn run(args: &Args) -> Outcome {
    let dir = &args.out;
    let in_dir = |name: &str| dir.join(name);
    std::fs::create_dir_all(in_dir("displays")).map_err(at(dir))?;
    keep_edits(&in_dir("demo.toml"), MAPPING)?;
    keep_edits(&in_dir("displays/ring24.toml"), DISPLAY)?;
    write(&in_dir("demo.toml"), MAPPING)?;
    write(&in_dir("displays/ring24.toml"), DISPLAY)?;
    save_wav(&in_dir("demo-song.wav"), &mut DemoSong::new()).map_err(Failure::failed)?;

    let mapping = load_mapping(&in_dir("demo.toml")).map_err(Failure::refused)?;
    let display = load_display(&in_dir("displays/ring24.toml")).map_err(Failure::refused)?;
    let Some(rate) = Rate::new(RATE_HZ, 1) else {
        return Err(Failure::Failed(format!("{RATE_HZ} is no frame rate")));
    };
    let job = RenderJob {
        mapping: &mapping,
        display: &display,
        rate,
        // As after an hour of playing: half a minute from cold would meet no limit.
        start: Start::Warm,
        arith: Arith::Native,
    };
    let out = in_dir("demo.duty");
    let song = coilscore::audio::file::open(&in_dir("demo-song.wav")).map_err(Failure::failed)?;
    let began = Instant::now();
    let report = render::render_source(song, &job, &out, args.quiet)?;
    let wall_s = began.elapsed().as_secs_f64();
    picture::draw_file(&out, &in_dir("demo.png"))?;
    convert::duties(&out, &in_dir("demo.csv"))?;
    if args.quiet {
        return Ok(());
    }
    print(&render::summary(&report, (&mapping, &display), &out, wall_s, false))?;
    print(&next_steps(dir))
}

fn next_steps(dir: &Path) -> String {
    let dir = dir.shown();
    // As it was called, so that the lines can be pasted.
    let program = std::env::args().next().unwrap_or_else(|| "coilscore".into());
    format!(
        "\nThe song, the mapping and the display are invented; the iron counts as warm from playing.\n\
         In {dir}:\n\
         \x20 demo-song.wav         the song: listen to it\n\
         \x20 demo.png              what it asked, what was granted, how warm it got: look at it\n\
         \x20 demo.duty, demo.csv   the frames, for a driver board and for a spreadsheet\n\
         \x20 demo.toml             the mapping\n\
         \x20 displays/ring24.toml  the display\n\
         \nTry next:\n\
         \x20 {program} budget --display {dir}/displays/ring24.toml\n\
         \x20 {program} render YOUR-SONG.flac --preset {dir}/demo.toml --out song.duty\n\
         \x20 {program} picture song.duty\n\
         Then put your own coils into a copy of the display file, and check it with\n\
         \x20 {program} check --preset {dir}/demo.toml --display YOUR-DISPLAY.toml\n"
    )
}

/// Somebody may have begun to change what an earlier demo left.
fn keep_edits(path: &Path, text: &str) -> Outcome {
    match std::fs::read(path) {
        Ok(found) if found != text.as_bytes() => Err(Failure::Refused(format!(
            "{} has been changed since the demo wrote it: choose another folder with --out, or \
             remove it",
            path.shown()
        ))),
        _ => Ok(()),
    }
}

fn write(path: &Path, text: &str) -> Outcome {
    std::fs::write(path, text).map_err(at(path))
}

fn at(path: &Path) -> impl FnOnce(std::io::Error) -> Failure {
    let path = path.shown();
    move |error| Failure::Failed(format!("{path}: {error}"))
}
