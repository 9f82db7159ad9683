//! From a stroke in the sound to the fluid half way up, with a fluid that lags 95 ms.
//!
//! There is no standard for fluid. ITU-R BT.1359-1 puts the detectability of sound against picture at
//! 45 ms (sound early) and 125 ms (sound late): a fluid that is within 20 ms is out of reach of both.

use std::path::Path;

use coilscore::analysis::Arith;
use coilscore::analysis::ears::measure_song;
use coilscore::audio::SoundFormat;
use coilscore::audio::file::open;
use coilscore::budget::Start;
use coilscore::coil::fluid::Preview;
use coilscore::frame::record::Entry;
use coilscore::preset::{Display, Mapping};
use coilscore::run::line::Line;
use coilscore::run::render::{render_as_live, render_known};
use coilscore::run::{Flow, RenderJob};
use coilscore::sink::file::open as open_duty_file;
use coilscore::units::Rate;
use tempfile::TempDir;

use crate::common::{UNLIMITED, files};
use crate::songs::{self, Song, steady};

/// 26.5 ms dead, and at 3.003 Hz and half of critical damping 68.5 ms until half of the way is gone.
pub(crate) const LAG: &str =
    "[lag]\nrise.model = { dead_ms = 26.5, natural_hz = 3.003, damping = 0.5 }\n";

fn display(lag: &str) -> String {
    UNLIMITED.replace("[[rail]]", &format!("{lag}[[rail]]"))
}

/// What one coil does with a route.
fn mapping(hears: &str) -> String {
    format!(
        "schema = 1\nname = \"one\"\nintent = \"strokes\"\nquiet.fixed = {{ level_dbfs = -80 }}\n\
         [[route]]\nname = \"only\"\n{hears}\ncurve = \"straight\"\nattack_ms = 5\nhold_ms = 60\n\
         release_ms = 120\nmoves.level_all = {{ group = \"one\" }}\n"
    )
}

const BASS: &str =
    "hears.band = { low_hz = 40, high_hz = 120 }\nrange.follow = { floor_db = -24, full_db = 0 }";
const BEAT: &str = "hears.beat = { sure = 0.2 }";

/// Height of the fluid at the end of every frame of a file.
fn heights(file: &Path, display_text: &str) -> Vec<f64> {
    let (_, display) = files(&mapping(BASS), display_text);
    let mut preview = Preview::new(&display.fluid_lag().unwrap(), 1, Rate::new(200, 1).unwrap());
    let mut reader = open_duty_file(file).unwrap();
    let steps = f64::from(reader.head().coils[0].steps);
    let mut heights = Vec::new();
    while let Some(entry) = reader.next_entry().unwrap() {
        if let Entry::Duty { codes, .. } = entry {
            heights.push(preview.step([f64::from(codes[0].0) / steps])[0]);
        }
    }
    heights
}

/// From each event to the fluid half way between its lowest and highest before the next one, s.
/// `apart_s` is the least time between events.
fn errors_s(heights: &[f64], events_s: &[f64], apart_s: f64) -> Vec<f64> {
    let frame = |time_s: f64| (time_s * 200.0).round().max(0.0) as usize;
    let mut errors = Vec::new();
    for event_s in events_s.iter().filter(|event_s| **event_s > 10.0) {
        // From a while before, as it may be early, until well before the next may be.
        let (from, to) = (frame(event_s - 0.35 * apart_s), frame(event_s + 0.65 * apart_s));
        let Some(around) = heights.get(from..to) else { continue };
        let top = (0..around.len()).max_by(|a, b| around[*a].total_cmp(&around[*b])).unwrap();
        let foot = (0..=top).min_by(|a, b| around[*a].total_cmp(&around[*b])).unwrap();
        if around[top] - around[foot] < 0.05 {
            continue;
        }
        let half = f64::midpoint(around[top], around[foot]);
        let after = (foot..=top).find(|k| around[*k] >= half).unwrap();
        let before = around[after.saturating_sub(1)];
        let part =
            if around[after] > before { (half - before) / (around[after] - before) } else { 1.0 };
        // A height is that of a frame's end.
        errors.push((from + after) as f64 / 200.0 + part / 200.0 - event_s);
    }
    errors
}

#[derive(Debug, Clone, Copy)]
struct Row {
    median_ms: f64,
    worst_tenth_ms: f64,
    count: usize,
}

fn row(errors_s: &[f64]) -> Row {
    let mut signed: Vec<f64> = errors_s.iter().map(|error| 1000.0 * error).collect();
    signed.sort_by(f64::total_cmp);
    let mut sizes: Vec<f64> = signed.iter().map(|error| error.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let at = |list: &[f64], share: f64| list[(share * (list.len() - 1) as f64).round() as usize];
    Row { median_ms: at(&signed, 0.5), worst_tenth_ms: at(&sizes, 0.9), count: sizes.len() }
}

fn job<'a>(mapping: &'a Mapping, display: &'a Display) -> RenderJob<'a> {
    RenderJob {
        mapping,
        display,
        rate: Rate::new(200, 1).unwrap(),
        start: Start::Cold,
        arith: Arith::Portable,
    }
}

/// Rendered for a song: file, as live or with all that a file can have.
fn rendered(dir: &Path, song: &Path, hears: &str, live: bool) -> Vec<f64> {
    let text = display(LAG);
    let (mapping, display) = files(&mapping(hears), &text);
    let job = job(&mapping, &display);
    let out = dir.join("song.duty");
    let hook = &mut |_| Flow::Continue(());
    if live {
        render_as_live(open(song).unwrap(), &job, &out, hook).unwrap();
    } else {
        let facts = measure_song(&mut *open(song).unwrap(), job.arith, &mut |_| true).unwrap();
        render_known(open(song).unwrap(), &job, facts, &out, hook).unwrap();
    }
    heights(&out, &text)
}

/// Signed median in ms: live; live by prediction; offline; with delayed sound.
fn rows(song: &Song, beat_s: f64) -> [(&'static str, Row); 5] {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("song.wav");
    song.save(&path);
    let errors = |hears: &str, live: bool| {
        let heights = rendered(dir.path(), &path, hears, live);
        if hears == BEAT {
            errors_s(&heights, &song.beats_s, beat_s)
        } else {
            errors_s(&heights, &song.kicks_s, 2.0 * beat_s)
        }
    };
    let live = errors(BASS, true);
    // Sound that is kept back by the lag and the bass band's delay, as `--delay auto` does.
    let text = display(LAG);
    let (mapping, display) = files(&mapping(BASS), &text);
    let lag_s = display.fluid_lag().unwrap().lead().0;
    assert!((lag_s - 0.095).abs() < 0.0005, "{lag_s}");
    let job = job(&mapping, &display);
    let sound = SoundFormat { rate_hz: songs::RATE_HZ, channels: 2 };
    let line = Line::new(&job, &[], sound).unwrap();
    let back_s = line.shown_after(&job).unwrap().0;
    let delayed: Vec<f64> = live.iter().map(|error| error - back_s).collect();
    [
        ("live", row(&live)),
        ("live, beat foretold", row(&errors(BEAT, true))),
        ("from a file", row(&errors(BASS, false))),
        ("from a file, beat", row(&errors(BEAT, false))),
        ("live, sound kept back", row(&delayed)),
    ]
}

#[test]
fn fluid_moves_with_the_music_where_frames_can_lead_it() {
    for beats_per_minute in [96.0, 120.0, 132.0] {
        let song = steady(beats_per_minute, 30.0);
        let rows = rows(&song, 60.0 / beats_per_minute);
        for (what, row) in rows {
            println!(
                "{beats_per_minute} a minute, {what}: median {:+.1} ms, nine tenths within {:.1} ms, \
                 {} strokes",
                row.median_ms, row.worst_tenth_ms, row.count
            );
        }
        let [(_, live), (_, foretold), (_, file), (_, file_beat), (_, delayed)] = rows;
        assert!(live.median_ms > 60.0, "without anything it is late: {live:?}");
        assert!(foretold.median_ms.abs() < 45.0, "{foretold:?}");
        assert!(file.median_ms.abs() < 20.0, "{file:?}");
        assert!(file_beat.median_ms.abs() < 20.0, "{file_beat:?}");
        assert!(delayed.median_ms.abs() < 20.0, "{delayed:?}");
        for row in [live, file, delayed] {
            assert!(row.count >= 14, "strokes are missing: {row:?}");
        }
        for row in [foretold, file_beat] {
            assert!(row.count >= 10, "beats are missing: {row:?}");
        }
    }
}
