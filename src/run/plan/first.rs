//! Songs heard for the first time, and what is kept of them.

use std::path::PathBuf;

use super::again::seen;
use super::bounds::{Watch, held_back};
use super::report::{PlanReport, Planned};
use super::search::Seen;
use super::spool::{self, Spool};
use super::tally::{Taken, Tally};
use super::{Piece, RenderError, RenderJob};
use crate::audio::fingerprint::Fingerprint;
use crate::audio::{SampleBlock, SoundFormat, Source};
use crate::budget::{BudgetSettings, Clamp, Plan, Rehearsal, Start};
use crate::engine::{EngineError, Step};
use crate::frame::{Head, Tail};
use crate::preset::Names;
use crate::run::ahead::Ahead;
use crate::run::ends::tail;
use crate::run::line::Line;
use crate::run::meter::Peaks;
use crate::run::pump::{Beside, Flow, Pumped, pump};
use crate::run::render::report_of;
use crate::sink::file::{ClosedFile, DutyFile};
use crate::units::Celsius;

/// One song as it was heard, and its file as it was last made.
pub(super) struct Song {
    pub out: PathBuf,
    pub head: Head,
    pub settings: BudgetSettings,
    pub sound: SoundFormat,
    pub frames: u32,
    pub instants: u64,
    pub digest: String,
    pub names: Names,
    pub remarks: Vec<String>,
    pub made: Made,
}

/// How a song's frames came out.
pub(super) struct Made {
    /// None once it has its name.
    pub file: Option<ClosedFile>,
    pub tail: Tail,
    /// Per coil: taken by gains.
    pub eased: Vec<f64>,
    pub peaks: Peaks,
}

/// All songs of a run of heat.
pub(super) struct Songs {
    /// Of the first: how warm everything is at the start.
    pub settings: BudgetSettings,
    pub songs: Vec<Song>,
    pub spool: Spool,
    pub rehearsal: Rehearsal,
    pub tally: Tally,
    taken: Taken,
    pub watch: Watch,
    clamp: Clamp,
    /// False when the hook stopped it.
    pub whole: bool,
}

/// Hears every song once and makes its file as if nobody knew what is to come.
pub(super) fn hear(
    pieces: Vec<Piece>,
    job: &RenderJob<'_>,
    hook: &mut dyn FnMut(usize, u64) -> Flow,
) -> Result<Songs, RenderError> {
    let mut start = job.start.clone();
    let mut all: Option<Songs> = None;
    for (number, piece) in pieces.into_iter().enumerate() {
        let source = (piece.open)()?;
        let sound = source.format();
        let job = RenderJob { start: start.clone(), ..job.clone() };
        let Line { mut engine, mut metering, head, names, budget } =
            Line::unridden(&job, sound, &piece.knowing)?;
        let songs = match &mut all {
            Some(songs) => songs,
            None => all.insert(Songs::of(&budget, &head)?),
        };
        let mut file = DutyFile::create(&piece.out, &head)?;
        songs.watch.start(number);
        let mut source = Ahead::of(source);
        let mut beside = Listening {
            digest: Fingerprint::new(),
            songs,
            failed: None,
            hook: &mut |instants| hook(number, instants),
        };
        let end = pump(&mut source, &mut engine, &mut file, &mut metering, &mut beside)?;
        let Listening { digest, failed, songs, .. } = beside;
        if let Some(error) = failed {
            return Err(spool::failed(error));
        }
        songs.taken.end(engine.budget());
        let tail = tail(&engine, digest.hex());
        start = Start::Nodes(tail.node_c.iter().copied().map(Celsius).collect());
        songs.whole = end == Pumped::Whole;
        songs.songs.push(Song {
            out: piece.out,
            head,
            settings: budget,
            sound,
            frames: tail.frames,
            instants: tail.sound_instants,
            digest: tail.sound_digest.clone(),
            names,
            remarks: source.remarks().to_vec(),
            made: Made {
                eased: engine.budget().totals().eased.to_vec(),
                peaks: metering.peaks(),
                file: Some(file.close()?),
                tail,
            },
        });
        if !songs.whole {
            break;
        }
    }
    let mut songs = all.ok_or(EngineError::Disagree("there is no song"))?;
    songs.rehearsal.end();
    Ok(songs)
}

impl Songs {
    fn of(settings: &BudgetSettings, head: &Head) -> Result<Self, RenderError> {
        let frame_s = settings.frame_rate.period().0;
        let clamp = Clamp::new(settings).map_err(EngineError::from)?;
        Ok(Self {
            settings: settings.clone(),
            songs: Vec::new(),
            spool: Spool::new(),
            rehearsal: Rehearsal::new(settings.coils.len(), frame_s),
            tally: Tally::new(clamp.clone(), head.steps(), frame_s),
            taken: Taken::nothing(settings.coils.len()),
            watch: Watch::new(settings),
            clamp,
            whole: true,
        })
    }

    /// Nothing counted yet, for making the frames again.
    pub(super) fn fresh_tally(&self) -> Tally {
        let steps = self.settings.coils.iter().map(|coil| coil.steps);
        Tally::new(self.clamp.clone(), steps, self.settings.frame_rate.period().0)
    }

    /// Per coil: what came of the songs as they were heard.
    pub(super) fn seen(&self) -> Vec<Seen> {
        seen(&self.tally, &self.taken)
    }

    /// Gives every file its name, if all are whole, and says what came of it.
    pub(super) fn finish(mut self, plan: &Plan) -> Result<Planned, RenderError> {
        let end = if self.whole { Pumped::Whole } else { Pumped::Stopped };
        let gained = self.tally.gained();
        let planned = self.songs.iter().any(|song| !song.head.gains.is_empty());
        let duty = self.duties();
        let bounds = self.watch.bounds(&duty);
        let (names, rails) = (self.names(), self.rails());
        for (number, song) in self.songs.iter_mut().enumerate() {
            if !song.head.gains.is_empty() {
                song.made.tail.gained = Some(gained);
                song.made.tail.held_back = held_back(&plan.gains, &bounds, &names, &rails, number);
            }
            if let (true, Some(file)) = (self.whole, song.made.file.take()) {
                file.finish(&song.made.tail)?;
            }
        }
        let report = |song: &Song| {
            let Made { tail, peaks, .. } = &song.made;
            let lead_s = f64::from(song.head.lead_us) * 1e-6;
            report_of(tail, end, song.sound, lead_s, *peaks, &song.names, &song.remarks)
        };
        Ok(Planned {
            songs: self.songs.iter().map(report).collect(),
            plan: PlanReport {
                gains: if planned { plan.gains.clone() } else { Vec::new() },
                names,
                rails,
                bounds,
                duty,
                coils: self.tally.coils().collect(),
                all: gained,
            },
        })
    }

    fn names(&self) -> Vec<String> {
        let first = self.songs.first();
        first.map_or_else(Vec::new, |song| {
            song.names.coils.iter().map(|coil| coil.label.clone()).collect()
        })
    }

    fn rails(&self) -> Vec<String> {
        let first = self.songs.first();
        first.map_or_else(Vec::new, |song| {
            song.head.rails.iter().map(|rail| rail.name.clone()).collect()
        })
    }

    /// Per coil: means of what was wished, granted and taken.
    fn duties(&self) -> Vec<[f64; 6]> {
        let mut sums = vec![[0.0; 6]; self.settings.coils.len()];
        let mut frames = 0.0;
        for Song { made, .. } in &self.songs {
            let tail = &made.tail;
            frames += f64::from(tail.frames);
            let lists = [&tail.wished, &tail.granted, &made.eased, &tail.cut_heat]
                .into_iter()
                .chain([&tail.cut_rail, &tail.cut_driver]);
            for (column, list) in lists.enumerate() {
                for (own, value) in sums.iter_mut().zip(list) {
                    own.iter_mut().skip(column).take(1).for_each(|sum| *sum += value);
                }
            }
        }
        for [wished, granted, eased, heat, rail, driver] in &mut sums {
            // What gains took stands in both.
            *heat = (*heat - *eased).max(0.0);
            for value in [wished, granted, eased, heat, rail, driver] {
                *value /= f64::max(frames, 1.0);
            }
        }
        sums
    }
}

/// Keeps what is heard, and asks whether to go on.
struct Listening<'a> {
    digest: Fingerprint,
    songs: &'a mut Songs,
    failed: Option<std::io::Error>,
    hook: &'a mut dyn FnMut(u64) -> Flow,
}

impl Beside for Listening<'_> {
    fn heard(&mut self, block: SampleBlock<'_>) {
        self.digest.update(block);
    }

    fn stepped(&mut self, step: Option<&Step<'_>>) {
        let (Some(step), None) = (step, &self.failed) else { return };
        self.songs.rehearsal.add(step.budget);
        self.songs.tally.add(step.wishes, step.budget);
        self.songs.taken.add(step.budget);
        self.songs.watch.add(step.number, step.budget);
        let put = self.songs.spool.put(step.heard.quiet, step.heard.band_dbfs, step.wishes);
        self.failed = put.err();
    }

    fn go_on(&mut self, instants: u64) -> Flow {
        match self.failed {
            Some(_) => Flow::Break(()),
            None => (self.hook)(instants),
        }
    }
}
