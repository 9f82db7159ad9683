//! The frames of all songs once more, from the spool, under gains: to see what would come of them,
//! and to write them.

use super::bounds::Watch;
use super::first::{Made, Song, Songs};
use super::search::Seen;
use super::spool::{self, Frame, Reading};
use super::tally::{Taken, Tally};
use super::{RenderError, RenderJob};
use crate::budget::{Budget, BudgetSettings, Plan, Start};
use crate::engine::EngineError;
use crate::frame::Head;
use crate::run::ends::{start_word, tail_of};
use crate::run::meter::Metering;
use crate::run::pump::Flow;
use crate::sink::Sink;
use crate::sink::file::DutyFile;
use crate::units::{Celsius, Share};

/// Frames between two looks at the hook.
const FRAMES_PER_LOOK: u32 = 4096;

type Hook<'a> = &'a mut dyn FnMut(usize, u64) -> Flow;

/// Makes all frames under `gains` and keeps none; per coil, what came of it. `None` when the hook
/// stopped it.
pub(super) fn try_out(
    songs: &mut Songs,
    job: &RenderJob<'_>,
    gains: &[f64],
    hook: Hook<'_>,
) -> Result<Option<Vec<Seen>>, RenderError> {
    let mut tally = songs.fresh_tally();
    let mut start = job.start.clone();
    let mut taken = Taken::nothing(gains.len());
    let mut reading = songs.spool.read().map_err(spool::failed)?;
    for (number, song) in songs.songs.iter().enumerate() {
        let settings = BudgetSettings { start, ..song.settings.clone() };
        let mut each = |_: u32, frame: &Frame, budget: &Budget| {
            tally.add(&frame.wishes, budget);
            taken.add(budget);
            Ok(())
        };
        let hook = &mut || hook(number, song.instants);
        let (budget, done) = one(song, &settings, gains, &mut reading, &mut each, hook)?;
        if !done {
            return Ok(None);
        }
        taken.end(&budget);
        start = nodes_of(budget.load().node_c);
    }
    Ok(Some(seen(&tally, &taken)))
}

/// What a tally and what was taken say of each coil.
pub(super) fn seen(tally: &Tally, taken: &Taken) -> Vec<Seen> {
    let coils = tally.coils().zip(&taken.sums);
    let of = |(coil, [wished, heat, rail]): (super::CoilGained, &[f64; 3])| {
        let part = |took: f64| if *wished > 0.0 { took / wished } else { 0.0 };
        Seen {
            likeness: coil.moves().then_some(coil.likeness[0]),
            by_heat: part(*heat),
            by_rail: part(*rail),
            energy_j: coil.energy_j[0],
            clamp_j: coil.energy_j[1],
        }
    };
    coils.map(of).collect()
}

/// Makes every file anew under `plan`, from the heat with which `job` starts.
pub(super) fn write(
    songs: &mut Songs,
    job: &RenderJob<'_>,
    plan: &Plan,
    hook: Hook<'_>,
) -> Result<(), RenderError> {
    let mut start = job.start.clone();
    songs.tally = songs.fresh_tally();
    let Songs { songs: list, spool, tally, watch, whole, .. } = songs;
    let mut reading = spool.read().map_err(spool::failed)?;
    for (number, song) in list.iter_mut().enumerate() {
        song.head.gains.clone_from(&plan.gains);
        song.head.start = start_word(&start).into();
        song.settings.start = start;
        watch.start(number);
        let hook = &mut || hook(number, song.instants);
        let (made, done) = written(song, plan, &mut reading, (tally, watch), hook)?;
        start = nodes_of(&made.tail.node_c);
        song.made = made;
        if !done {
            *whole = false;
            break;
        }
    }
    Ok(())
}

/// One song into its file; false when the hook stopped it.
fn written(
    song: &Song,
    plan: &Plan,
    reading: &mut Reading<'_>,
    (tally, watch): (&mut Tally, &mut Watch),
    hook: &mut dyn FnMut() -> Flow,
) -> Result<(Made, bool), RenderError> {
    let Song { head, settings, frames, .. } = song;
    let mut metering = Metering::new(settings, head.bands.len());
    let mut file = DutyFile::create(&song.out, head)?;
    let mut made = 0;
    let mut each = |number: u32, frame: &Frame, budget: &Budget| {
        file.duty(number, budget.duties())?;
        metering.take(number, frame.quiet, &frame.band_dbfs, &budget.load());
        tally.add(&frame.wishes, budget);
        watch.add(number, budget);
        made = number + 1;
        // The last frame between two edges has its meter after it, as in the loop of all runs.
        if made < *frames
            && let Some(meter) = metering.due(budget)
        {
            file.meter(meter)?;
        }
        Ok(())
    };
    let (budget, done) = one(song, settings, &plan.gains, reading, &mut each, hook)?;
    if let Some(meter) = metering.rest(&budget) {
        file.meter(meter)?;
    }
    file.off(made)?;
    let made = Made {
        tail: tail_of(&budget, made, song.instants, song.digest.clone()),
        eased: budget.totals().eased.to_vec(),
        peaks: metering.peaks(),
        file: Some(file.close()?),
    };
    Ok((made, done))
}

type Each<'a> = &'a mut dyn FnMut(u32, &Frame, &Budget) -> Result<(), RenderError>;

/// One song through a budget under gains, frame by frame; false when the hook stopped it.
fn one(
    song: &Song,
    settings: &BudgetSettings,
    gains: &[f64],
    reading: &mut Reading<'_>,
    each: Each<'_>,
    hook: &mut dyn FnMut() -> Flow,
) -> Result<(Budget, bool), RenderError> {
    let mut budget = Budget::new(settings).map_err(EngineError::from)?;
    budget.set_gains(gains);
    let mut frame = room_for(&song.head, settings);
    let mut done = true;
    for number in 0..song.frames {
        reading.next(&mut frame).map_err(spool::failed)?;
        budget.permit(&frame.wishes);
        each(number, &frame, &budget)?;
        if (number + 1).is_multiple_of(FRAMES_PER_LOOK) && hook().is_break() {
            done = false;
            break;
        }
    }
    budget.settle();
    Ok((budget, done))
}

fn nodes_of(node_c: &[f64]) -> Start {
    Start::Nodes(node_c.iter().copied().map(Celsius).collect())
}

fn room_for(head: &Head, settings: &BudgetSettings) -> Frame {
    Frame {
        quiet: false,
        band_dbfs: vec![0.0; head.bands.len()],
        wishes: vec![Share::NONE; settings.coils.len()],
    }
}
