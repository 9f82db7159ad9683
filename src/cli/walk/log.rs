//! `walk --log`: the heating test through the board, into a file that `fit` reads.

use coilscore::shown::Shown as _;
use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use coilscore::budget::Start;
use coilscore::fit::TwoNodes;
use coilscore::preset::Display;
use coilscore::run::walk::{HeatingTest, LogRound, LogRow, Next, Probe, Round, Said, Seen};

use super::{Args as WalkArgs, Stand};
use crate::cli::{Failure, Outcome, heat, inputs};

/// Flags as typed.
#[derive(Debug, clap::Args)]
#[group(id = "walk_log")]
pub(super) struct Args {
    /// Warm one coil and let it cool, within its limits, and write what the board reports: a log for
    /// `fit`
    #[arg(long, value_name = "FILE.csv", requires_all = ["coil", "cold_c"],
          conflicts_with_all = ["lift", "measure", "seconds"])]
    pub(super) log: Option<PathBuf>,
    /// With --log: the coil, by its number in the display, from 0
    #[arg(long, value_name = "N", requires = "log")]
    coil: Option<usize>,
    /// With --log: temperature of the room and of the rested coil, C, by a thermometer
    #[arg(long, value_name = "C", requires = "log", allow_negative_numbers = true,
          value_parser = celsius)]
    cold_c: Option<f64>,
    /// With --log: minutes of heating, and two thirds of them of cooling; left out: three and two of
    /// the slow time constants that the display file has
    #[arg(long, value_name = "M", requires = "log", value_parser = minutes)]
    minutes: Option<f64>,
    /// With --log: all coils have rested until they were as warm as the room, whatever the heat file
    /// says
    #[arg(long, requires = "log")]
    rested: bool,
}

fn celsius(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|c| (-30.0..=60.0).contains(c));
    number.ok_or_else(|| format!("'{text}' is no temperature of a room: write -30 to 60"))
}

fn minutes(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|m| (0.1..=600.0).contains(m));
    number.ok_or_else(|| format!("'{text}' is not a time: write 0.1 to 600 minutes"))
}

/// A coil that counts as this much warmer than the room has not rested, K.
const RESTED_K: f64 = 1.0;

/// Slow time constants of heating and of cooling: what `fit` wants.
const HEATED: f64 = 3.0;
const COOLED: f64 = 2.0;

/// What was kept.
pub(super) struct Logged {
    pub(super) path: PathBuf,
    pub(super) coil: usize,
    pub(super) readings: usize,
    /// Whether the test was done to its end.
    pub(super) whole: bool,
}

impl Args {
    /// Refuses what can be refused before a board is asked.
    pub(super) fn check(&self, walk: &WalkArgs, display: &Display) -> Outcome {
        let (Some(path), Some(coil)) = (&self.log, self.coil) else { return Ok(()) };
        inputs::keep_off_display(&walk.display, &[path])?;
        let coils = display.blocks.iter().map(|block| block.channels.value.len()).sum::<usize>();
        if coil >= coils {
            let last = coils.saturating_sub(1);
            return Err(Failure::Refused(format!(
                "--coil {coil}: \"{}\" has coils 0 to {last}",
                display.name
            )));
        }
        // Rises count from the display's room: in a warmer one, all of them would end too hot.
        let room_c = display.room_c.value;
        if let Some(cold_c) = self.cold_c.filter(|cold_c| *cold_c > room_c + RESTED_K) {
            return Err(Failure::Refused(format!(
                "--cold-c {cold_c}: warmer than the warmest room of {} (room_c = {room_c}), from which \
                 the heat limits are reckoned: if the room is that warm, write so there; else let the \
                 coil cool",
                walk.display.shown()
            )));
        }
        if std::fs::symlink_metadata(path).is_ok_and(|there| !there.is_file() || there.len() > 0) {
            return Err(Failure::Refused(format!(
                "{} is there already: a test takes long, so none is written over; name another file",
                path.shown()
            )));
        }
        Ok(())
    }

    /// How warm all is at the start.
    pub(super) fn start(&self, warmth: &heat::Warmth) -> Start {
        if self.rested { Start::Cold } else { warmth.start.clone() }
    }

    /// The test of a coil that has rested.
    pub(super) fn test(&self, stand: &Stand<'_>, probes: &[Probe]) -> Result<HeatingTest, Failure> {
        let coil = self.coil.unwrap_or_default();
        let settings = &stand.settings;
        let (Some(of), Some(probe)) = (settings.coils.get(coil), probes.get(coil)) else {
            return Err(Failure::Refused(format!("there is no coil {coil}")));
        };
        let load = stand.budget.load();
        let nodes = [coil, settings.coils.len() + coil].map(|node| load.node_c.get(node).copied());
        let warmest_c = nodes.into_iter().flatten().fold(settings.room.0, f64::max);
        if warmest_c > settings.room.0 + RESTED_K {
            let over_k = warmest_c - settings.room.0;
            return Err(Failure::Refused(format!(
                "coil {coil} counts as {over_k:.0} K warmer than the room: a heating test begins with a \
                 coil that has rested. If all of them are as cold as the room, by a thermometer, add \
                 --rested; else wait"
            )));
        }
        let heat = &of.heat;
        let [fast_s, slow_s] = TwoNodes {
            coil_j_per_k: heat.coil.0,
            coil_to_backing_k_per_w: heat.coil_to_backing.0,
            backing_j_per_k: heat.backing.0,
            backing_to_around_k_per_w: heat.backing_to_around.0,
            coil_to_around_w_per_k: heat.coil_to_around.0.recip(),
        }
        .time_constants_s();
        let heat_s = self.minutes.map_or(HEATED * slow_s, |minutes| minutes * 60.0);
        Ok(HeatingTest {
            coil,
            probe: *probe,
            cold_c: self.cold_c.unwrap_or(settings.room.0),
            floor_share: stand.budget.floor_share(),
            fast_s,
            heat_s,
            cool_s: heat_s * COOLED / HEATED,
        })
    }
}

/// The file, row by row: what is in it stays, whatever happens.
pub(super) struct LogFile {
    path: PathBuf,
    file: File,
    cold_c: f64,
    coil: usize,
    readings: usize,
}

impl LogFile {
    pub(super) fn create(
        path: &Path,
        args: &Args,
        stand: &Stand<'_>,
        test: &HeatingTest,
    ) -> Result<Self, Failure> {
        let mut file = OpenOptions::new()
            .create(true)
            .append(true)
            .open(path)
            .map_err(|error| cannot(path, &error))?;
        let coil = args.coil.unwrap_or_default();
        let label = stand.names.coils.get(coil).map_or("", |name| name.label.as_str());
        // Names may hold anything but must not begin a line of their own.
        let display = stand.names.display.replace(char::is_control, " ");
        let (heat_min, cool_min) = (test.heat_s / 60.0, test.cool_s / 60.0);
        let header = format!(
            "# heating test of {label}, coil {coil} of \"{display}\", through its board\n\
             # {heat_min:.1} min of heating, {cool_min:.1} min of cooling; voltage and current at the \
             winding\n\
             time_s,voltage_v,current_a,resistance_ohm,ambient_c,heating\n"
        );
        file.write_all(header.as_bytes()).map_err(|error| cannot(path, &error))?;
        Ok(Self { path: path.to_owned(), file, cold_c: test.cold_c, coil, readings: 0 })
    }

    fn write(&mut self, row: &LogRow) -> std::io::Result<()> {
        let ohms = row.resistance_ohm.map_or_else(String::new, |ohm| format!("{ohm:.4}"));
        self.readings += usize::from(row.resistance_ohm.is_some());
        let line = format!(
            "{:.3},{:.3},{:.5},{ohms},{:.1},{}\n",
            row.time_s,
            row.voltage_v,
            row.current_a,
            self.cold_c,
            u8::from(row.heating)
        );
        self.file.write_all(line.as_bytes())
    }
}

/// The round with its file. A test that cannot be kept ends: it would warm a coil for nothing.
pub(super) struct Kept {
    round: LogRound,
    file: LogFile,
    failed: Option<std::io::Error>,
}

impl Kept {
    pub(super) fn new(round: LogRound, file: LogFile) -> Self {
        Self { round, file, failed: None }
    }

    pub(super) fn end(self) -> Result<Logged, Failure> {
        let LogFile { path, coil, readings, .. } = self.file;
        match self.failed {
            Some(error) => Err(cannot(&path, &error)),
            None => Ok(Logged { path, coil, readings, whole: self.round.is_whole() }),
        }
    }
}

impl Round for Kept {
    fn step(&mut self, seen: &Seen<'_>, say: &mut dyn FnMut(Said)) -> Next {
        let Self { round, file, failed } = self;
        let next = round.step(seen, &mut |said| match said {
            Said::Logged(row) => {
                if failed.is_none() {
                    *failed = file.write(&row).err();
                }
            }
            other => say(other),
        });
        if failed.is_some() { Next::Done } else { next }
    }
}

fn cannot(path: &Path, error: &std::io::Error) -> Failure {
    let path = path.shown();
    Failure::Failed(format!("{path}: {error}; the log cannot be written, is there room?"))
}
